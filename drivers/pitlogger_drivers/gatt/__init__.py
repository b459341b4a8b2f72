"""GATT attributes that are no measurement: times, formats, descriptors, device strings."""
