"""The last hash of the record, to keep elsewhere, and an earlier one checked against it."""

from datetime import datetime

from flask import Blueprint, render_template, request

from trainer.services import safekeeping, witnessing
from trainer.services.refusal import Refusal
from trainer.web import access
from trainer.web.access import may, now, reading
from trainer.web.errors import say

bp = Blueprint("witness", __name__)


@bp.get("/witness")
@may("coordinator")
def witness():
    """Show the last hash, to print or to note; and say whether the record has an earlier one."""
    noted, found, fault = request.args.get("since", "").strip(), None, ""
    with reading() as db:
        last = witnessing.witness(db)
        backup = safekeeping.last(db)
        if noted:
            try:
                found = witnessing.look_for(db, noted)
            except Refusal as refusal:
                fault = say(refusal)
    return render_template(
        "coordinator/witness.html",
        last=last,
        moment=_in_words(now()),
        backup=backup and _in_words(backup.made_at),
        backed_up=backup and witnessing.Witness(backup.entries, backup.last_hash),
        noted=noted[:200],
        found=found,
        fault=fault,
    ), 422 if fault else 200


def _in_words(moment: datetime) -> str:
    return f"{moment.astimezone(access.settings().zone):%Y-%m-%d %H:%M %Z}"
