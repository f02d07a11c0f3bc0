"""The rules of addresses, quick to make: there are two hundred, and each start makes them all."""

from collections.abc import Callable
from functools import cache, partial

from werkzeug import routing


class Rule(routing.Rule):
    """A rule that compiles how its address is built when one is first asked for.

    Nearly all are never asked: pages write their addresses out. Compiled at once, it was nine
    tenths of the making of an application. The method is Werkzeug's own; a version that has none
    of this name compiles at once again, and nothing else changes.
    """

    def _compile_builder(self, append_unknown: bool = True) -> Callable[..., tuple[str, str]]:
        compiled = cache(partial(super()._compile_builder, append_unknown))
        return lambda rule, /, **values: compiled()(rule, **values)
