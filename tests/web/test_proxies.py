"""Whose a request is: a proxy is believed where the setting names it, and nobody else is."""

import pytest
from flask import request

from trainer import config
from trainer.app import create_app


def asked(settings, store, sender: str, headers: dict, **changed) -> tuple[str, str, str]:
    """Return who asked, how and where, as a page sees it."""
    there = settings.model_copy(update={"behind_tls": True} | changed)
    app = create_app(there, store, "only for tests")
    seen = []
    app.before_request(lambda: seen.append((request.remote_addr, request.scheme, request.host)))
    app.test_client().get("/sign-in", headers=headers, environ_base={"REMOTE_ADDR": sender})
    return seen[0]


@pytest.mark.parametrize(
    ("sender", "forwarded", "who"),
    [
        ("127.0.0.1", "203.0.113.7", "203.0.113.7"),
        ("::1", "203.0.113.7", "203.0.113.7"),
        ("::ffff:127.0.0.1", "203.0.113.7", "203.0.113.7"),
        ("127.0.0.1", "6.6.6.6, 203.0.113.7", "203.0.113.7"),  # the first was made up
        ("127.0.0.1", "203.0.113.7, 127.0.0.1", "203.0.113.7"),  # two of our proxies
        ("198.51.100.4", "203.0.113.7", "198.51.100.4"),  # nobody's proxy
        ("127.0.0.1", "somebody", "127.0.0.1"),
        ("127.0.0.1", "6.6.6.6, somebody", "127.0.0.1"),
    ],
)
def test_the_client_is_told_by_a_believed_proxy_alone(settings, store, sender, forwarded, who):
    found = asked(settings, store, sender, {"X-Forwarded-For": forwarded})
    assert found[:2] == (who, "https")


def test_a_network_of_proxies_can_be_believed(settings, store):
    found = asked(
        settings, store, "10.0.3.9",
        {"X-Forwarded-For": "203.0.113.7", "X-Forwarded-Host": "training.example"},
        trusted_proxies="10.0.3.0/24",
    )  # fmt: skip
    assert found == ("203.0.113.7", "https", "training.example")


def test_without_a_proxy_nobody_is_believed(settings, store):
    found = asked(
        settings, store, "127.0.0.1",
        {"X-Forwarded-For": "203.0.113.7", "X-Forwarded-Proto": "https",
         "X-Forwarded-Host": "elsewhere.example"},
        behind_tls=False,
    )  # fmt: skip
    assert found == ("127.0.0.1", "http", "localhost")


def test_a_proxy_that_is_no_address_stops_the_start():
    with pytest.raises(config.SettingsFault, match="DONNING_ROOM_TRUSTED_PROXIES"):
        config.read(trusted_proxies="the-gate")
