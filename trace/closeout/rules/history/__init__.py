"""The project compared with its earlier states in git.

``past`` reads the commits into the plain value :class:`closeout.model.history.History`, with the
identifiers of today; ``changes``, ``lost`` and ``formerly`` find in it what no rule allows.
"""
