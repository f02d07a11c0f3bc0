"""create_app(): wiring and nothing else."""

from datetime import timedelta

from flask import Flask
from flask_wtf import CSRFProtect

from trainer import bank, config, lessons
from trainer.config import Settings
from trainer.store.engine import Store
from trainer.web import (
    access,
    addresses,
    ahead,
    asking,
    assigning,
    authoring,
    board,
    cards,
    compiled,
    compressing,
    coordinator,
    correcting,
    coverage,
    crediting,
    crew,
    drilling,
    errands,
    errors,
    feeds,
    hard_spots,
    headers,
    health,
    history,
    importing,
    language,
    leaving,
    letters,
    log,
    merging,
    one_by_one,
    own_sign_in,
    packet,
    paper,
    people,
    pictures,
    practices,
    proxies,
    request_log,
    retention,
    settings,
    sign_in,
    site,
    site_questions,
    sizes,
    surroundings,
    taking_out,
    talks,
    templating,
    today,
    trainer,
    unsent,
    witness,
    worker,
    worksheet,
)

PARTS = (
    sign_in, unsent, worker, asking, drilling, worksheet, board, people, today, trainer, assigning,
    ahead, crediting, crew, talks, practices, paper, site, authoring, site_questions, pictures,
    hard_spots, coordinator, coverage, feeds, history, leaving, merging, settings, log, retention,
    correcting, witness, errands, importing, taking_out, cards, packet, own_sign_in, health,
)  # fmt: skip


def create_app(settings: Settings, store: Store, secret_key: str) -> Flask:
    """Return the application of one installation, its content read and its routes checked.

    Errors: LessonFault or BankFault where content cannot be read; RuntimeError for a route
    that does not say who may come in.
    """
    app = Flask("trainer.web", static_folder=config.content_folder("static"))
    app.jinja_environment = templating.Templates
    app.config.update(
        SECRET_KEY=secret_key,
        SESSION_COOKIE_NAME="__Host-room" if settings.behind_tls else "room",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_SECURE=settings.behind_tls,
        # A token that ends while its session lives would lose an answer.
        WTF_CSRF_TIME_LIMIT=None,
        MAX_CONTENT_LENGTH=sizes.A_FORM,
        SEND_FILE_MAX_AGE_DEFAULT=timedelta(days=365),
        TEMPLATES_AUTO_RELOAD=False,
    )
    app.url_rule_class = addresses.Rule
    compiled.init_app(app)
    app.extensions["settings"] = settings
    app.extensions["store"] = store
    store.settings = settings
    one_by_one.init_app(app)
    compressing.init_app(app)  # after everything else has said its headers
    request_log.init_app(app)
    proxies.init_app(app, settings)
    sizes.init_app(app)  # before the check of the token, which reads the form
    letters.init_app(app)
    CSRFProtect(app)
    language.init_app(app)
    access.init_app(app, unsent.turned_away)
    unsent.init_app(app)
    surroundings.init_app(app)
    headers.init_app(app)
    errors.init_app(app)
    for part in PARTS:
        app.register_blueprint(part.bp)
    access.check_routes(app)
    lessons.load(data=settings.data)
    bank.load(settings.data)
    return app
