"""Thermistors given as a resistance or a converter count."""
