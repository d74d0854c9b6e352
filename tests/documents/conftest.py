"""The packages that the tests of documents look at, and the option that accepts a change."""

from __future__ import annotations

import pytest

from tests.documents import packages
from tests.documents.known import lack
from tests.documents.packages import Package
from tests.documents.survey import Seen

collect_ignore = ["project"]  # its tests are run by the tool, in it


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--accept", action="store_true", help="write today's documents over the gold ones"
    )


def pytest_itemcollected(item: pytest.Item) -> None:
    if why := lack(item.name):
        item.add_marker(pytest.mark.xfail(reason=why, strict=True))


@pytest.fixture(scope="session")
def small(tmp_path_factory: pytest.TempPathFactory) -> Package:
    """The documents of the small project, CDR."""
    return packages.small(tmp_path_factory)


@pytest.fixture(scope="session", params=["small", pytest.param("mission", marks=pytest.mark.slow)])
def package(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Package:
    """The documents of the small project; in a slow run those of the mission as well."""
    make = packages.mission if request.param == "mission" else packages.small
    return make(tmp_path_factory)


@pytest.fixture(scope="session")
def seen(package: Package) -> dict[str, Seen]:
    """What a browser saw of each HTML document."""
    return package.seen()
