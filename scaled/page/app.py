"""The page as a Flask application: what may be asked and done over HTTP.

It is handed all that it shows: a source of Snapshots, a sink for intents, the catalogue, the records and the health of
the daemon. It decides nothing about weighing: an intent is checked for its shape, handed to the bench, and the bench's
answer becomes a status.
"""

from __future__ import annotations

from flask import Flask, request

from scaled.batch.protocols import Catalogue, Health, History, IntentSink, SnapshotSource
from scaled.page.assets import load_assets
from scaled.page.body import LARGEST_BODY
from scaled.page.full import STREAM, Doorkeeper
from scaled.page.guard import SAFE_METHODS, Guarded, refuse_cross_site, refuse_from_afar
from scaled.page.options import PageOptions
from scaled.page.page import Page
from scaled.page.problem import tell_errors_as_problems
from scaled.page.stream import Viewers
from scaled.page.views_act import views_to_act
from scaled.page.views_look import views_to_look


def create_app(
    source: SnapshotSource,
    sink: IntentSink,
    catalogue: Catalogue,
    history: History,
    health: Health,
    *,
    options: PageOptions | None = None,
) -> Flask:
    """The application; `app.extensions["page"]` is its `Page`."""
    options = options or PageOptions()
    app = Flask("scaled.page", static_folder=None, template_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = LARGEST_BODY
    app.url_map.merge_slashes = False
    page = Page(source, sink, catalogue, history, health, Viewers(options.viewers))
    app.extensions["page"] = page
    tell_errors_as_problems(app)
    app.before_request(_refuse)
    app.register_blueprint(views_to_look(page, load_assets()))
    app.register_blueprint(views_to_act(page))
    app.wsgi_app = Guarded(Doorkeeper(app.wsgi_app, page.viewers), options)  # type: ignore[method-assign]
    return app


def _refuse() -> None:
    acts = request.method not in SAFE_METHODS
    if acts or request.path == STREAM:
        refuse_cross_site(request)
    if acts:
        refuse_from_afar(request)
