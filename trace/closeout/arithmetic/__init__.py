"""How a formula is evaluated: today on numbers, with a search over the corners of a box.

Pure: no process, no file. Arrays, intervals and symbols of the same formula come to stand here.
"""
