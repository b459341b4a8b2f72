"""The words of the job as frozen values: no I/O and no clock."""
