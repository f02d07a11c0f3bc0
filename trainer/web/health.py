"""Whether all is well, for machines: a load balancer, a supervisor, whoever watches.

Everybody may ask, so nothing is told that says how many people train here or how much: of the
chain only the beginning of its last hash, by which two machines can be seen to have the same
record. The number of entries stands among the metrics, on an address of its own.
"""

from flask import Blueprint, jsonify

from trainer.services import wellbeing
from trainer.web import access
from trainer.web.access import anybody, impersonal

bp = Blueprint("health", __name__)


@bp.get("/health")
@impersonal
@anybody
def health():
    """Say whether pages can be answered here: 200, or 503 where the record is away or newer."""
    found = wellbeing.look(access.store())
    said = {"alive": True, "database": found.state, "chain": found.chain}
    return jsonify(said), 200 if found.well else 503


@bp.get("/health/live")
@impersonal
@anybody
def live():
    """Say that the process answers, whatever the database does: to start it anew cures no other."""
    return jsonify(alive=True)
