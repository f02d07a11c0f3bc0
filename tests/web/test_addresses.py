"""Rules of addresses learn to build them when they are asked, and build what they always did."""

from flask import url_for
from werkzeug import routing

from trainer.app import create_app
from trainer.web import addresses

OWN = routing.Rule._compile_builder


def test_a_start_compiles_no_address_that_nobody_asks_for(settings, store, monkeypatch):
    compiled = []

    def counted(rule: routing.Rule, *given: object) -> object:
        compiled.append(rule.endpoint)
        return OWN(rule, *given)

    monkeypatch.setattr(routing.Rule, "_compile_builder", counted)
    app = create_app(settings, store, "only for tests")
    # Flask makes this one by itself, before it hears of our rules, and in both ways.
    assert compiled == ["static"] * 2
    with app.test_request_context():
        for _ in range(2):
            assert url_for("sign_in.sign_in", next="/tag") == "/sign-in?next=/tag"
    assert compiled == ["static", "static", "sign_in.sign_in"]


def test_each_rule_builds_the_address_that_werkzeugs_own_builds(app):
    filled = 0
    for rule in app.url_map.iter_rules():
        values = {name: 7 if "Int" in type(converter).__name__ else "tern quay/é"
                  for name, converter in rule._converters.items()}  # fmt: skip
        own = routing.Rule(rule.rule, endpoint=rule.endpoint, methods=rule.methods)
        routing.Map([own])
        for more in ({}, {"page": "2"}):
            for unknown in (True, False):
                built = rule.build({**values, **more}, unknown)
                assert built == own.build({**values, **more}, unknown)
        filled += bool(values)
        assert rule.endpoint == "static" or isinstance(rule, addresses.Rule)
    assert filled > 50
