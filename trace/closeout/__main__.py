"""``python -m closeout``."""

from closeout.cli import main

main()
