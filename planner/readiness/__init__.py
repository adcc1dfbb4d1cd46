"""What must be true of a site before it can use a shared host, held against the fleet: a list of open items.

Readiness never changes a plan. The rules say who may use whom; the audit says what people have to do or to find out
at a site first, and what nobody has written down yet.
"""

from planner.readiness.audit import audit
from planner.readiness.audit_items import Check, Item, ManagementCount, Readiness, SiteReadiness

__all__ = ["Check", "Item", "ManagementCount", "Readiness", "SiteReadiness", "audit"]
