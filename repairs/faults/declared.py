"""What the bench declares a fix to be when it closes a repair.

A stopgap is what EN 13306 calls a temporary repair.
"""

LASTING = "lasting"
STOPGAP = "stopgap"
LABELS = {LASTING: "lasting", STOPGAP: "stopgap"}
CHOICES = list(LABELS.items())
