"""From project files to typed records: strict YAML with places, JSON Schemas, every problem.

``load`` never raises for what a user wrote; ``locate`` gives later findings their line and column,
``places`` any pointer; ``schema`` is the JSON Schema of a project file, for editors,
``schema_text`` its text, ``section_schema`` that of a section.
"""

from closeout.load.file_facts import Cache
from closeout.load.forms import SECTIONS, schema, schema_text, section_schema
from closeout.load.project import Files, Loaded, load, locate, places

__all__ = [
    "SECTIONS",
    "Cache",
    "Files",
    "Loaded",
    "load",
    "locate",
    "places",
    "schema",
    "schema_text",
    "section_schema",
]
