"""Commands during a cook: start, stage, weigh, temp, alerts, status."""
