"""What is stored between runs: one SQLite file in ``.closeout/``.

Values are JSON text under typed keys, never code. The store may vanish, be damaged or be locked at
any moment: then it is a store that knows nothing, and no verdict changes. Nothing is imported here,
since worker processes use :mod:`closeout.store.keys` alone.
"""
