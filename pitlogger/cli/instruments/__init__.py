"""Commands about devices, channels, decoders and checks."""
