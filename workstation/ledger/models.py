"""The ledger's tables. Nothing here leaves the room: rows are turned into plain values at the door."""

from datetime import UTC, datetime

from sqlalchemy import (
    CheckConstraint,
    Dialect,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


class UtcTime(TypeDecorator[datetime]):
    """A moment in UTC as text of fixed width, which sorts by time and which a person can read."""

    impl = String(27)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:
        """Turn a time that knows its zone into text."""
        return None if value is None else time_text(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> datetime | None:
        """Turn the text back into a time in UTC."""
        return None if value is None else datetime.strptime(value, _TIME).replace(tzinfo=UTC)


_TIME = "%Y-%m-%dT%H:%M:%S.%fZ"


def time_text(value: datetime) -> str:
    """Return a moment as ISO 8601 text in UTC with microseconds; a time without a zone is a ValueError."""
    if value.tzinfo is None:
        raise ValueError("a time in the ledger must know its zone")
    return value.astimezone(UTC).strftime(_TIME)


class Base(DeclarativeBase):
    """Names every constraint, so that a migration can name it too."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {datetime: UtcTime()}  # noqa: RUF012 - SQLAlchemy's own idiom


class SessionRow(Base):
    """One sitting at the bench."""

    __tablename__ = "sessions"
    __table_args__ = (Index(None, "started"), {"sqlite_autoincrement": True})

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    name: Mapped[str] = mapped_column(Text)
    started: Mapped[datetime]
    operator: Mapped[str] = mapped_column(Text)
    scope: Mapped[str] = mapped_column(Text)
    criteria_id: Mapped[str] = mapped_column(Text)
    source_dark: Mapped[str] = mapped_column(Text)


class PortRow(Base):
    """One port; ``label`` exactly as given, ``label_nfc`` the form in which two labels are compared."""

    __tablename__ = "ports"
    __table_args__ = (
        UniqueConstraint("session_id", "label_nfc"),
        Index(None, "session_id", "position"),
        Index(None, "label_nfc"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    session_id: Mapped[int] = mapped_column(ForeignKey("sessions.id"))
    label: Mapped[str] = mapped_column(Text)
    label_nfc: Mapped[str] = mapped_column(Text)
    position: Mapped[int]


class LookRow(Base):
    """One look.

    ``reading`` and ``verdict`` hold the whole values as JSON; the columns before them repeat what lists are
    filtered and sorted by. The leading feature is the largest one that breaks a rule, or else the largest
    that is counted.
    """

    __tablename__ = "looks"
    __table_args__ = (
        UniqueConstraint("port_id", "number"),
        CheckConstraint("number >= 1", name="number"),
        CheckConstraint("length(picture_sha256) = 64", name="picture_sha256"),
        Index(None, "session_id", "taken"),
        Index(None, "taken"),
        Index(None, "outcome", "taken"),
        Index(None, "criteria_id", "taken"),
        Index(None, "leading_cause", "taken"),
        Index(None, "leading_zone", "taken"),
        Index(None, "picture_sha256"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    session_id: Mapped[int] = mapped_column(ForeignKey("sessions.id"))
    port_id: Mapped[int] = mapped_column(ForeignKey("ports.id"))
    number: Mapped[int]
    taken: Mapped[datetime]
    source: Mapped[str] = mapped_column(Text)
    seconds: Mapped[float]
    picture_sha256: Mapped[str] = mapped_column(String(64))
    outcome: Mapped[str] = mapped_column(String(16))
    criteria_id: Mapped[str] = mapped_column(Text)
    features: Mapped[int]
    leading_cause: Mapped[str | None] = mapped_column(String(32))
    leading_zone: Mapped[str | None] = mapped_column(String(8))
    largest_defect_um: Mapped[float | None]
    widest_scratch_um: Mapped[float | None]
    reading: Mapped[str] = mapped_column(Text)
    verdict: Mapped[str] = mapped_column(Text)


class HistoryRow(Base):
    """One entry of the append-only history; see ``history.py`` for what is hashed."""

    __tablename__ = "history"
    __table_args__ = (Index(None, "session_id", "kind"), Index(None, "kind", "subject_id"))

    sequence: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    at: Mapped[datetime]
    kind: Mapped[str] = mapped_column(String(32))
    session_id: Mapped[int | None] = mapped_column(ForeignKey("sessions.id"))
    subject_id: Mapped[int | None]
    body: Mapped[str] = mapped_column(Text)
    previous: Mapped[str] = mapped_column(String(64))
    hash: Mapped[str] = mapped_column(String(64), unique=True)
