"""``leerie doctor``: looks at the machine, a file for each part of it, and has controller.doctor judge."""

from api.cli.doctor.command import doctor as doctor
