"""The pages of the invented office, served on a free port for a real browser."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from threading import Thread

import pytest
from werkzeug.serving import make_server

from replacements.people.passwords import hashed
from replacements.web.app import create_app
from tests.web.invented_office import PASSWORD, Site, seeded_file, site_over


@pytest.fixture
def site(tmp_path: Path, sqlite_template: Path) -> Iterator[Site]:
    filled = seeded_file(tmp_path / "seeded.sqlite3", sqlite_template, hashed(PASSWORD), adopted=True)
    made = site_over(filled, tmp_path)
    yield made
    made.database.close()


@pytest.fixture
def address(site: Site) -> Iterator[str]:
    """Where the pages are served, without a slash at the end."""
    app = create_app(site.database, site.settings, now=site.clock)
    server = make_server("127.0.0.1", 0, app, threaded=True)
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    thread.join(timeout=10)
