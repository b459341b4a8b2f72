"""1-Wire temperature sensors of the kernel."""
