"""Screens of the running cook: the pit, its figures, alarms, weighing, temperatures, stages."""
