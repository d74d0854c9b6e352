"""One formula in several arithmetics, and what is asked of it; pure: no process, no file.

The arithmetics, each with the functions of :mod:`closeout.math` on its values: ``interval``,
``gradient``, ``array``, ``recorded`` (numbers that remember how they were made) and ``symbol``;
plain numbers are those of :mod:`closeout.math` itself. ``code`` says what an analysis may hold for
the arithmetics to speak of every point. With them ``proof`` finds worst cases, ``chance``
probabilities and root sum squares, ``study`` what drives a result and where it breaks.
"""
