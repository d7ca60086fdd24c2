"""Sessions, ports, looks and their pictures, kept so that they can be trusted.

The one door to the database and the picture store.
"""

from workstation.ledger.audit import Audit
from workstation.ledger.errors import LedgerError
from workstation.ledger.events import Event
from workstation.ledger.ledger import Ledger

__all__ = ["Audit", "Event", "Ledger", "LedgerError"]
