"""New ledgers are made, older ones upgraded with a copy beside them, newer ones refused."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from hand_made import graded, picture

from workstation.ledger import Ledger, LedgerError, schema
from workstation.ledger.database import Database
from workstation.ledger.ledger import DATABASE
from workstation.ledger.models import Base

LATER_STEP = '''
"""A step that only this test knows."""

import sqlalchemy as sa
from alembic import op

revision = "test"
down_revision = "{head}"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("sessions", sa.Column("shift", sa.Text(), nullable=False, server_default=""))
    {then}


def downgrade() -> None:
    raise NotImplementedError
'''


def head() -> str:
    config = Config()
    config.set_main_option("script_location", str(schema.MIGRATIONS))
    config.set_main_option("path_separator", "os")
    found = ScriptDirectory.from_config(config).get_current_head()
    assert found is not None
    return found


@pytest.fixture
def later(tmp_path: Path) -> Path:
    """The migrations of a later version of the program."""
    folder = tmp_path / "later 100% migrations"
    shutil.copytree(schema.MIGRATIONS, folder, ignore=shutil.ignore_patterns("__pycache__"))
    (folder / "versions" / "test.py").write_text(LATER_STEP.format(head=head(), then=""))
    return folder


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    """A ledger of this version with a look in it."""
    folder = tmp_path / "bench"
    with Ledger.open(folder) as ledger:
        session = ledger.start_session("Tuesday", "Operator One", "", "")
        ledger.keep_look(ledger.add_port(session.id, "1").id, picture(), *graded(), "", 0.1)
    return folder


def columns(path: Path, table: str) -> list[str]:
    with closing(sqlite3.connect(path)) as connection:
        return [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]


def test_the_migrations_make_exactly_the_tables_that_the_program_uses(tmp_path: Path):
    Ledger.open(tmp_path).close()
    database = Database(tmp_path / DATABASE)
    with database.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []
        assert context.get_current_revision() == head()
    database.close()


def test_an_empty_database_of_the_first_version_is_upgraded(tmp_path: Path):
    database = Database(tmp_path / DATABASE)
    config = Config()
    config.set_main_option("script_location", str(schema.MIGRATIONS))
    config.set_main_option("path_separator", "os")
    schema._upgrade(database, config, "0001")
    database.close()
    with Ledger.open(tmp_path) as ledger:
        assert ledger.sessions() == ()
        assert ledger.verify().whole


def test_an_older_ledger_is_upgraded_and_a_copy_of_it_kept(
    kept: Path, later: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(schema, "MIGRATIONS", later)
    with pytest.raises(LedgerError, match="Open it once for writing"):
        Ledger.open(kept, read_only=True)
    with Ledger.open(kept) as ledger:
        (session,) = ledger.sessions()
        assert len(ledger.looks(session.id)) == 1
    assert "shift" in columns(kept / DATABASE, "sessions")
    (copy,) = kept.glob("ledger-before-*.sqlite3")
    assert "shift" not in columns(copy, "sessions")
    with closing(sqlite3.connect(copy)) as connection:
        assert connection.execute("SELECT count(*) FROM looks").fetchone() == (1,)


def test_an_upgrade_that_fails_leaves_the_ledger_as_it_was(
    kept: Path, later: Path, monkeypatch: pytest.MonkeyPatch
):
    step = LATER_STEP.format(head=head(), then="raise ZeroDivisionError")
    (later / "versions" / "test.py").write_text(step)
    with monkeypatch.context() as patch:
        patch.setattr(schema, "MIGRATIONS", later)
        with pytest.raises(ZeroDivisionError):
            Ledger.open(kept)
    assert "shift" not in columns(kept / DATABASE, "sessions")
    with Ledger.open(kept) as ledger:
        assert ledger.verify().whole


def test_a_newer_ledger_is_refused_in_words_and_untouched(
    kept: Path, later: Path, monkeypatch: pytest.MonkeyPatch
):
    with monkeypatch.context() as patch:
        patch.setattr(schema, "MIGRATIONS", later)
        Ledger.open(kept).close()
    before = (kept / DATABASE).read_bytes()
    with pytest.raises(LedgerError, match="newer version of this program"):
        Ledger.open(kept)
    assert (kept / DATABASE).read_bytes() == before


def test_a_program_killed_while_it_made_its_first_ledger_does_no_harm(tmp_path: Path):
    with closing(sqlite3.connect(tmp_path / DATABASE)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
    with Ledger.open(tmp_path) as ledger:
        assert ledger.start_session("s", "", "", "").id == 1
