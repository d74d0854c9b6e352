"""A dossier as text for people and machines: the only place that formats.

Values in, text or bytes out: no clock, no file of the project, no process; the same dossier gives
the same bytes. :mod:`closeout.render.rows` is the table that the formats share.
"""
