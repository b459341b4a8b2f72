"""Screens before the next cook: the plan and the job."""
