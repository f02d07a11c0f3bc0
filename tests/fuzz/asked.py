"""Which fields a page asks of a request, heard while it asks."""

from collections.abc import Iterator

from flask import Flask
from flask.wrappers import Request
from werkzeug.datastructures import ImmutableMultiDict


class Heard:
    """The names that were asked for, by the endpoint that asked."""

    def __init__(self, app: Flask) -> None:
        """Hear what every page asks from now on."""
        self.names: dict[str, set[str]] = {}
        heard = self

        class Listening(Request):
            """A request that tells what is asked of it."""

            @property
            def parameter_storage_class(self) -> type:
                found = heard.names.setdefault(self.endpoint or "", set())

                class Fields(ImmutableMultiDict):
                    """What was sent."""

                    def __getitem__(self, name: str) -> str:
                        found.add(name)
                        return super().__getitem__(name)

                    def __contains__(self, name: str) -> bool:
                        found.add(name)
                        return super().__contains__(name)

                    def get(self, name: str, *more, **others) -> str:
                        found.add(name)
                        return super().get(name, *more, **others)

                    def getlist(self, name: str, *more, **others) -> list[str]:
                        found.add(name)
                        return super().getlist(name, *more, **others)

                return Fields

        app.request_class = Listening

    def of(self, app: Flask, method: str, path: str) -> Iterator[str]:
        """Give the names that the page at an address has asked for so far, and never its token."""
        endpoint, _ = app.url_map.bind("localhost").match(path, method=method)
        yield from sorted(self.names.get(endpoint, set()) - {"csrf_token"})
