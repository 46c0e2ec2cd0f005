"""The types of a fix, as recorded when the repair is closed.

A stopgap is what EN 13306 calls a temporary repair.
"""

LASTING = "lasting"
STOPGAP = "stopgap"
LABELS = {LASTING: "lasting", STOPGAP: "stopgap"}
CHOICES = list(LABELS.items())
