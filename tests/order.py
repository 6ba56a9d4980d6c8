"""In which order tests run, in one process or on several workers, each of which takes file after file."""

import pytest


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take long, so that none is left over at the end; the browser's come last.

    Playwright's loop goes on in the thread to the end of the session, and with it asyncio.run is refused there.
    """
    place: dict[object, int] = {}
    for item in items:
        place.setdefault(item.path, len(place))

    def rank(item: pytest.Item) -> tuple[bool, bool, int]:
        return (
            item.get_closest_marker("browser") is not None,
            item.get_closest_marker("slow") is None,
            place[item.path],
        )

    items.sort(key=rank)
