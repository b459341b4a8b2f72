"""USB HID scales, usage page 0x8D."""
