"""What the documents lack as yet, by test and package; a line goes once its test passes."""

from __future__ import annotations

from fnmatch import fnmatchcase

LACKS = {
    "test_no_barrier_to_any_reader *": "a table that scrolls cannot be reached by keyboard",
    "test_nothing_but_code_is_scrolled_sideways *-800": "tables are wider than half a screen",
    "test_nothing_but_code_is_scrolled_sideways mission-1280": "tables are wider than a screen",
    "test_heads_of_long_tables_stay_in_sight *": "heads scroll away with their tables",
    "test_each_page_has_its_number *": "printed pages have no numbers",
    "test_each_page_has_the_title *": "printed pages have no running title",
    "test_each_page_has_the_commit *": "printed pages do not name the commit",
    "test_no_heading_ends_a_page *": "some headings stand alone at the end of a page",
    "test_pages_of_the_control_document_are_full *": "its columns are narrow, and its rows high",
    "test_everything_in_the_package_leads_somewhere *-md": "anchors are missing in Markdown",
    "test_each_item_is_named_in_a_document *-records-*": "records that count no more are left out",
    "test_each_item_is_named_in_a_document mission-waivers-*": "waivers not in force are left out",
    "test_each_item_is_named_in_a_document *-articles-*": "articles are left out",
    "test_each_item_is_named_in_a_document *-documents-*": "documents not cited are left out",
}


def lack(test: str) -> str | None:
    """Return why a test is expected to fail, by its name as in test_this[small-800]."""
    name = test.replace("[", " ").removesuffix("]")
    return next((why for known, why in LACKS.items() if fnmatchcase(name, known)), None)
