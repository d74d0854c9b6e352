"""The values that flow through the tool: frozen, without behaviour that needs a process or a file.

Amounts that keep their text, records of a project, questions and answers, problems, dossiers.
"""
