"""The service running on a database of its own, of the engine that the suite runs on."""

from __future__ import annotations

import os

import pytest

from .running import Site, drop_database, make_database, new_address


@pytest.fixture(scope="session")
def migrated(tmp_path_factory):
    """The address of a database with all tables and no records, to be copied."""
    folder = tmp_path_factory.mktemp("migrated")
    address = new_address(os.environ.get("DATABASE_URL") or "sqlite:///any.sqlite3", folder)
    make_database(address)
    site = Site(address, folder)
    site.manage("migrate", "--verbosity=0")
    if not site.is_postgresql:
        assert site.sql("PRAGMA wal_checkpoint(TRUNCATE)")[0][0] == 0
    yield address
    drop_database(address)


@pytest.fixture
def new_site(migrated, tmp_path):
    """Makes sites: with tables and no records, or on a bare database."""
    made = []

    def make(*, bare: bool = False, engine: str = "", **settings: str) -> Site:
        address = new_address(engine or migrated, tmp_path)
        folder = tmp_path / f"site-{len(made)}"
        folder.mkdir()
        make_database(address, like="" if bare else migrated)
        site = Site(address, folder, **settings)
        made.append(site)
        return site

    yield make
    for site in made:
        site.end()
        drop_database(site.address)


@pytest.fixture
def site(new_site):
    return new_site()
