"""A smoker that is not there: plant, people, devices and faults for tests and the demo."""
