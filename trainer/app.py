"""create_app(): wiring and nothing else."""

from datetime import timedelta

from flask import Flask
from flask_wtf import CSRFProtect

from trainer import bank, config, lessons
from trainer.config import Settings
from trainer.store.engine import Store
from trainer.web import (
    access,
    asking,
    assigning,
    authoring,
    coordinator,
    crediting,
    crew,
    drilling,
    errors,
    hard_spots,
    headers,
    language,
    paper,
    people,
    pictures,
    practices,
    sign_in,
    site,
    site_questions,
    sizes,
    surroundings,
    talks,
    today,
    trainer,
    worker,
    worksheet,
)

PARTS = (
    sign_in, worker, asking, drilling, worksheet, people, today, trainer, assigning, crediting,
    crew, talks, practices, paper, site, authoring, site_questions, pictures, hard_spots,
    coordinator,
)  # fmt: skip


def create_app(settings: Settings, store: Store, secret_key: str) -> Flask:
    """Return the application of one installation, its content read and its routes checked.

    Errors: LessonFault or BankFault where content cannot be read; RuntimeError for a route
    that does not say who may come in.
    """
    app = Flask("trainer.web", static_folder=config.content_folder("static"))
    app.config.update(
        SECRET_KEY=secret_key,
        SESSION_COOKIE_NAME="__Host-room" if settings.behind_tls else "room",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_SECURE=settings.behind_tls,
        # A token that ends while its session lives would lose an answer.
        WTF_CSRF_TIME_LIMIT=None,
        MAX_CONTENT_LENGTH=256 * 1024,
        SEND_FILE_MAX_AGE_DEFAULT=timedelta(days=365),
        TEMPLATES_AUTO_RELOAD=False,
    )
    app.extensions["settings"] = settings
    app.extensions["store"] = store
    sizes.init_app(app)  # before the check of the token, which reads the form
    CSRFProtect(app)
    language.init_app(app)
    access.init_app(app)
    surroundings.init_app(app)
    headers.init_app(app)
    errors.init_app(app)
    for part in PARTS:
        app.register_blueprint(part.bp)
    access.check_routes(app)
    lessons.load()
    bank.load()
    return app
