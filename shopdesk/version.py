"""The version of this program, shown to the owner and stored in backups."""

VERSION = "1.0.0"
