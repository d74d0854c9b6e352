"""``python -m closeout``."""

from closeout.cli import script

script()
