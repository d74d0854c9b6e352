"""What other programs read: open formats, each made as one text of what a run found.

Pure: where things stand in the files is found before, by :mod:`closeout.run.exchanged`.
"""
