"""Recognises the stages of a piece that nobody marked, each with its time and probability.

Pure: no clock, no file, no event loop. Temperatures are in degrees Celsius, times in engine
milliseconds.
"""
