"""Operating an output from afar: `log` remembers, `judging` refuses, `desk` does.

Nothing here listens to anything that acts by itself: one closure begins with one call of the desk, and the API alone
has the desk (rule 9 of the design; docs/decisions/0007). It stands in watch because what it needs is what watch knows:
gates, their contacts, and the state of the receivers at this moment.
"""

from __future__ import annotations

from gateway.watch.operating.desk import OperatingDesk

__all__ = ["OperatingDesk"]
