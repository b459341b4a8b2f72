"""What the readings say that nobody has marked: the stages of a piece, with time and chance.

Pure: no clock, no file, no loop. Temperatures in degrees Celsius, times in engine milliseconds.
"""
