"""Sessions, ports, looks and their pictures, kept so that they can be trusted: the one door to database and pictures."""

from workstation.ledger.audit import Audit
from workstation.ledger.errors import LedgerError
from workstation.ledger.events import Event
from workstation.ledger.ledger import Ledger

__all__ = ["Audit", "Event", "Ledger", "LedgerError"]
