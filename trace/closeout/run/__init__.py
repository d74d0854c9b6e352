"""What runs a project: its steps in their order, what is kept of a run, and what is asked of it.

Above everything that a step is made of, and below the command line, of which it knows nothing.
"""
