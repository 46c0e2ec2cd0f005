#!/usr/bin/env python
"""The shop's commands: `manage.py help` lists them."""

import os
import sys

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopdesk.settings")
    from django.core.management import execute_from_command_line

    from shopdesk.recording.acting import act_as_command

    act_as_command(sys.argv[1] if len(sys.argv) > 1 else "help")
    execute_from_command_line(sys.argv)
