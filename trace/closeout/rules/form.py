"""Pages of the rules of form: how files are written. They hold for every project."""

from __future__ import annotations

from functools import partial

from closeout.model.problem import Severity
from closeout.rules.rule import Rule

_OWN = "the form of the project's own files; closeout lint --schema prints it"
_YAML = "YAML 1.2.2, of which the project's files use the plain part"
_form = partial(Rule, kind="form", severity=Severity.ERROR, clause=_OWN)
_yaml = partial(Rule, kind="form", severity=Severity.ERROR, clause=_YAML)

READING = (
    _form(
        name="unreadable",
        title="a file cannot be read",
        why="What stands in a file that cannot be read may change every verdict.",
        breaks="$ chmod 000 requirements/power.yaml\n",
        keeps="$ chmod 644 requirements/power.yaml\n",
    ),
    _form(
        name="symbolic-link",
        title="a symbolic link stands among the project's files",
        why="A link may lead out of the state that is judged: the same commit would not give the"
        " same verdict.",
        breaks="$ ln -s ../power.yaml requirements/linked.yaml\n",
        keeps="$ cp requirements/power.yaml notes.yaml\n",
    ),
    _form(
        name="no-regular-file",
        title="a folder, a pipe or a device has the name of a file that is read",
        why="Nothing can be read from it, and what was meant to be there is missing.",
        breaks="$ mkdir requirements/thermal.yaml\n",
        keeps="$ mkdir requirements/thermal\n",
    ),
    _form(
        name="bad-name",
        title="a file's name cannot be printed on a line",
        why="Places of problems and lists in documents name files; a control character in a name"
        " would hide one or forge another.",
        breaks="$ touch \"$(printf 'requirements/a\\001.yaml')\"\n",
        keeps="$ touch requirements/a.yaml\n",
    ),
    _form(
        name="wrong-ending",
        title="a YAML file does not end in .yaml",
        why="Only .yaml is read, so what stands in it would silently not count.",
        breaks="$ mv requirements/power.yaml requirements/power.yml\n",
        keeps="$ mv requirements/power.yaml requirements/energy.yaml\n",
    ),
    _form(
        name="no-project",
        title="no file has a project section",
        why="The project section gives the reviews and the policy by which everything is judged.",
        breaks="$ echo 'requirements: []' > requirements/project.yaml\n",
        keeps="$ echo 'project: {name: Lantern}' > requirements/project.yaml\n",
    ),
    _form(
        name="duplicate-section",
        title="two files have a project section",
        why="Nobody could tell which of the two policies holds.",
        breaks="""\
# file: requirements/second.yaml
project: {name: Lantern again}
""",
        keeps="""\
# file: requirements/second.yaml
documents:
  - {id: LSA, title: Launch service agreement}
""",
    ),
    _form(
        name="no-libyaml",
        title="PyYAML is installed without libyaml",
        why="Places of problems come from libyaml's parser; without it the files are not read.",
        breaks="$ pip install --no-binary pyyaml pyyaml\n",
        keeps="$ pip install --only-binary pyyaml pyyaml\n",
    ),
    _form(
        name="encoding",
        title="a file is not UTF-8, or begins with a byte order mark",
        why="Read in another encoding, a micro or a degree sign becomes something else.",
        breaks="$ printf 'records: [] # 5 \\265A\\n' > requirements/notes.yaml\n",
        keeps="$ printf 'records: [] # 5 \\302\\265A\\n' > requirements/notes.yaml\n",
    ),
    _form(
        name="control-character",
        title="a file holds a control character",
        why="It is not seen in an editor, and can make a text look other than it reads (Unicode"
        " Standard Annex 9).",
        breaks="$ printf 'records: [] # \\001\\n' > requirements/notes.yaml\n",
        keeps="$ printf 'records: [] # none\\n' > requirements/notes.yaml\n",
    ),
    _form(
        name="too-large",
        title="a file is larger than 16 MiB",
        why="No file that people write is that large; one that is would fill the memory.",
        breaks="$ head -c 17000000 /dev/zero | tr '\\0' '#' > requirements/log.yaml\n",
        keeps="$ head -c 17000 /dev/zero | tr '\\0' '#' > requirements/log.yaml\n",
    ),
    _form(
        name="too-many-problems",
        title="a file has more problems than are listed",
        why="The first thousand tell what is wrong with it.",
        breaks="$ (echo 'records:'; seq 1200 | sed 's/.*/  - {}/') > requirements/records.yaml\n",
        keeps="$ (echo 'records:'; seq 12 | sed 's/.*/  - {}/') > requirements/records.yaml\n",
    ),
)

SYNTAX = (
    _yaml(
        name="yaml-syntax",
        title="a text is no YAML",
        why="What cannot be read is not judged, and is told rather than guessed.",
        breaks="documents:\n  - {id: LSA, title: Launch service: agreement}\n",
        keeps="documents:\n  - {id: LSA, title: 'Launch service: agreement'}\n",
    ),
    _form(
        name="merge-conflict",
        title="a conflict of a merge is not resolved",
        why="Both sides stand in the file, and neither of them is what is meant.",
        breaks="""\
<<<<<<< HEAD
documents:
  - {id: LSA, title: Launch service agreement}
=======
documents:
  - {id: LSA, title: Agreement on the launch}
>>>>>>> other
""",
        keeps="documents:\n  - {id: LSA, title: Launch service agreement}\n",
    ),
    _yaml(
        name="yaml-duplicate-key",
        title="a key is given twice",
        why="Most readers of YAML silently keep the last one.",
        breaks="parameters:\n  voltage: {value: 12 V}\n  voltage: {value: 14 V}\n",
        keeps="parameters:\n  voltage: {value: 12 V}\n  bus_voltage: {value: 14 V}\n",
    ),
    _yaml(
        name="yaml-key",
        title="a key is no word",
        why="Keys are names; a list or a mapping in their place names nothing.",
        breaks="parameters:\n  [voltage, current]: {value: 12 V}\n",
        keeps="parameters:\n  voltage: {value: 12 V}\n",
    ),
    _yaml(
        name="yaml-anchor",
        title="an anchor marks a value",
        why="A reader of a requirement should find its values where they hold, not elsewhere.",
        breaks="parameters:\n  voltage: {value: &nominal 12 V}\n",
        keeps="parameters:\n  voltage: {value: 12 V}\n",
    ),
    _yaml(
        name="yaml-alias",
        title="an alias stands for a value",
        why="A value that stands elsewhere is changed there without a look at what it does here.",
        breaks="parameters:\n  voltage: {value: &nominal 12 V}\n  bus: {value: *nominal}\n",
        keeps="parameters:\n  voltage: {value: 12 V}\n  bus: {value: 12 V}\n",
    ),
    _yaml(
        name="yaml-merge-key",
        title="a merge key takes in other keys",
        why="As an alias; it is no part of YAML 1.2 either.",
        breaks="parameters:\n  voltage:\n    <<: {value: 12 V}\n",
        keeps="parameters:\n  voltage:\n    value: 12 V\n",
    ),
    _yaml(
        name="yaml-tag",
        title="a tag gives a value a type",
        why="The key tells the type; a tag can make a reader run code.",
        breaks="parameters:\n  voltage: {value: !!str 12 V}\n",
        keeps="parameters:\n  voltage: {value: 12 V}\n",
    ),
    _yaml(
        name="yaml-directive",
        title="a directive stands at the top of a file",
        why="It changes how everything below it is read.",
        breaks="%YAML 1.1\n---\nparameters:\n  voltage: {value: 12 V}\n",
        keeps="parameters:\n  voltage: {value: 12 V}\n",
    ),
    _yaml(
        name="yaml-documents",
        title="a file holds several YAML documents",
        why="Most readers take the first and silently leave out the others.",
        breaks="parameters:\n  voltage: {value: 12 V}\n---\nparameters:\n  bus: {value: 12 V}\n",
        keeps="parameters:\n  voltage: {value: 12 V}\n  bus: {value: 12 V}\n",
    ),
    _yaml(
        name="yaml-glued",
        title="a comment or a key sign is glued to a text",
        why="The reader of YAML that is used would take the rest of the line for a comment, against"
        " the standard (6.6): a limit behind it would silently be lost.",
        breaks="parameters:\n  voltage: {value: '12 V'#, tolerance: 1 V\n    }\n",
        keeps="parameters:\n  voltage: {value: '12 V', tolerance: 1 V} # as measured\n",
    ),
    _yaml(
        name="yaml-indent",
        title="a line inside quotes or brackets is not indented",
        why="Where a closing quote was forgotten, the keys on the next lines would be a part of the"
        " text, and lost.",
        breaks="parameters:\n  voltage: {value: 12 V,\n  tolerance: 1 V}\n",
        keeps="parameters:\n  voltage: {value: 12 V,\n    tolerance: 1 V}\n",
    ),
    _yaml(
        name="too-deep",
        title="a file is nested deeper than 40 levels",
        why="No section needs ten; such a file is meant to exhaust a reader.",
        breaks=f"parameters: {'[' * 50}{']' * 50}\n",
        keeps="parameters:\n  voltage: {value: 12 V}\n",
    ),
)

FIELDS = (
    _form(
        name="unknown-key",
        title="a key is not known there",
        why="A misspelt key would silently not count.",
        breaks="parameters:\n  voltage: {value: 12 V, tolerence: 1 V}\n",
        keeps="parameters:\n  voltage: {value: 12 V, tolerance: 1 V}\n",
    ),
    _form(
        name="missing-key",
        title="a key that is needed is missing",
        why="Without it the item cannot be used.",
        breaks="documents:\n  - {id: LSA}\n",
        keeps="documents:\n  - {id: LSA, title: Launch service agreement}\n",
    ),
    _form(
        name="wrong-type",
        title="a value is of another type than its key wants",
        why="A text where a list is wanted is usually a forgotten bracket.",
        breaks="project: {name: Lantern, reviews: CDR}\n",
        keeps="project: {name: Lantern, reviews: [CDR]}\n",
    ),
    _form(
        name="empty-text",
        title="a text is empty",
        why="A key that says nothing looks as if it said something.",
        breaks="documents:\n  - {id: LSA, title: ''}\n",
        keeps="documents:\n  - {id: LSA, title: Launch service agreement}\n",
    ),
    _form(
        name="empty-mapping",
        title="a mapping that must hold something is empty",
        why="A margin policy without a review requires nothing.",
        breaks="project: {name: Lantern, margins: [{quantity: energy, required: {}}]}\n",
        keeps="""\
project: {name: Lantern, reviews: [CDR], margins: [{quantity: energy, required: {CDR: 10 %}}]}
""",
    ),
    _form(
        name="not-allowed",
        title="a word is not one of those that its key allows",
        why="Methods, levels, stages and dispositions are the standards' own words, so that every"
        " reader means the same.",
        breaks="articles:\n  - {id: BAT, title: Battery, model: flihgt}\n",
        keeps="articles:\n  - {id: BAT, title: Battery, model: flight}\n",
    ),
    _form(
        name="bad-identifier",
        title="an identifier has characters that none may have",
        why="Identifiers stand in file names, commands and lists; a blank would end them there.",
        breaks="documents:\n  - {id: L S A, title: Launch service agreement}\n",
        keeps="documents:\n  - {id: LSA, title: Launch service agreement}\n",
    ),
    _form(
        name="bad-date",
        title="a date is no date",
        why="Dates are compared; 03/04 is two days in one.",
        clause="ISO 8601, year-month-day",
        breaks="documents:\n  - {id: LSA, title: Launch service agreement, date: 20 January}\n",
        keeps="documents:\n  - {id: LSA, title: Launch service agreement, date: 2026-01-20}\n",
    ),
    _form(
        name="bad-amount",
        title="a value is no number with a unit, or a measured value without its coverage factor",
        why="Verdicts are computed from it; of an uncertainty nobody knows without its coverage"
        " factor how wide it is (JCGM 100:2008, 7.2.3, from memory).",
        breaks="parameters:\n  voltage: {value: twelve volts}\n",
        keeps="parameters:\n  voltage: {value: 12 V}\n",
    ),
    _form(
        name="bad-limits",
        title="limits do not go together",
        why="A limit without a quantity limits nothing; between exchanged limits no value lies.",
        breaks="""\
requirements:
  - id: PWR-010
    title: Bus voltage
    statement: The bus shall have a voltage from 11 V to 13 V.
    verification:
      - {method: test, quantity: bus_voltage, at_least: 13 V, at_most: 11 V}
""",
        keeps="""\
requirements:
  - id: PWR-010
    title: Bus voltage
    statement: The bus shall have a voltage from 11 V to 13 V.
    verification:
      - {method: test, quantity: bus_voltage, at_least: 11 V, at_most: 13 V}
""",
    ),
    _form(
        name="bad-spread",
        title="how far a value may lie cannot be so",
        why="A value outside its own range, or two spreads at once, leaves open what is meant.",
        breaks="parameters:\n  voltage: {value: 12 V, range: [13 V, 15 V]}\n",
        keeps="parameters:\n  voltage: {value: 12 V, range: [11 V, 15 V]}\n",
    ),
)

RULES = (*READING, *SYNTAX, *FIELDS)
