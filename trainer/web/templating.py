"""Templates, read once for each language, with their own words standing in them as text.

To look up each of the forty sentences of a page anew, each time it is shown, took a tenth of the
page's time. `_('...')` in a template is a sentence that is known when the template is read, so
there it is said in the language of the reader; only what is put into it comes later.
"""

from collections.abc import Mapping
from typing import Any

from flask.templating import Environment
from jinja2 import BytecodeCache, Template, nodes
from jinja2.bccache import Bucket
from jinja2.runtime import Context, Macro
from jinja2.visitor import NodeTransformer

from trainer.web import language


class Names(Context):
    """What a template knows where it stands."""

    def call(self, called: Any, /, *given: Any, **named: Any) -> Any:
        """Call what a template calls; a macro, which most of that is, without asking what it is."""
        if type(called) is not Macro:
            return super().call(called, *given, **named)
        # As Jinja does: they are for whoever wants to know all names.
        named.pop("_block_vars", None)
        named.pop("_loop_vars", None)
        return called(self.eval_ctx, *given, **named)


class Templates(Environment):
    """The templates of an application; asked for one, it hands out that of the reader's language.

    language    of the words in these templates; "" for all of them, of which none is read here
    """

    language = ""
    context_class = Names

    def __init__(self, *given: object, **options: object) -> None:
        super().__init__(*given, **options)
        self._in: dict[str, Templates] = {}

    def get_template(self, name, parent=None, globals=None) -> Template:
        """Return a template by its name, in the reader's language."""
        if not self.language:
            return self._spoken().get_template(name, parent, globals)
        return super().get_template(name, parent, globals)

    def select_template(self, names, parent=None, globals=None) -> Template:
        """Return the first of these templates that there is, in the reader's language."""
        if not self.language:
            return self._spoken().select_template(names, parent, globals)
        return super().select_template(names, parent, globals)

    def make_globals(self, d: Mapping | None) -> dict:
        """Return the names that a template knows.

        As one dict: a template that takes macros from another compares its names with that
        one's, and through the ChainMap that Jinja makes of them it took a twentieth of a page.
        """
        return {**self.globals, **(d or {})}

    def _spoken(self) -> "Templates":
        spoken = language.spoken()
        return self._in.get(spoken) or self._in.setdefault(spoken, self._made_for(spoken))

    def _made_for(self, spoken: str) -> "Templates":
        # Made with the first page, when everything that templates know has been said.
        made = self.overlay()
        made.language = spoken
        if self.bytecode_cache:
            made.bytecode_cache = _Apart(self.bytecode_cache, spoken)
        return made

    def _generate(self, source, *given, **options) -> str:  # a hook of Jinja, made for this
        return super()._generate(_Saying(self).visit(source), *given, **options)


class _Saying(NodeTransformer):
    """Puts the sentences of a template into it, in its language."""

    def __init__(self, templates: Templates) -> None:
        self.templates = templates

    def visit_Call(self, node: nodes.Call) -> nodes.Expr:  # named by Jinja
        self.generic_visit(node)
        if not _says(node):
            return node
        said = language.said(self.templates.language, node.args[0].value)
        if node.kwargs:
            # As `language` does with each sentence: what is put in is escaped.
            parts = [nodes.Pair(nodes.Const(one.key), one.value) for one in node.kwargs]
            found = nodes.Mod(nodes.MarkSafe(nodes.Const(str(said))), nodes.Dict(parts))
        else:
            found = nodes.TemplateData(str(said % {} if "%" in said else said))
        found.set_lineno(node.lineno)
        return found.set_environment(self.templates)


def _says(node: nodes.Call) -> bool:
    """Say whether a call is `_('a sentence')`, perhaps with parts by name."""
    named = isinstance(node.node, nodes.Name) and node.node.name in ("_", "gettext")
    alone = len(node.args) == 1 and not node.dyn_args and not node.dyn_kwargs
    return named and alone and isinstance(node.args[0], nodes.Const)


class _Apart(BytecodeCache):
    """What keeps templates when they are compiled, with those of one language apart."""

    def __init__(self, kept: BytecodeCache, spoken: str) -> None:
        self._kept, self._spoken = kept, spoken

    def get_bucket(self, environment, name, filename, source) -> Bucket:
        """Return the place of a template."""
        return self._kept.get_bucket(environment, f"{self._spoken}/{name}", filename, source)

    def set_bucket(self, bucket: Bucket) -> None:
        """Keep a template."""
        self._kept.set_bucket(bucket)
