"""Hardware-monitoring sensors of the kernel."""
