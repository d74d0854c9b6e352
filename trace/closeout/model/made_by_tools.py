"""What git, this tool and Python make while they run: no content of a project.

A listing that took them in would change by being asked for. Nothing is imported here, since workers
load it (``evaluate/forking.py``).
"""

MADE_BY_TOOLS = frozenset({".git", ".closeout", "__pycache__"})
