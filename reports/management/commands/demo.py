"""`manage.py demo`: embedded database, migrations, the invented scenario, a server, and how to sign in."""

from argparse import ArgumentParser
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand

from reports.demo import load_demo


class Command(BaseCommand):
    help = "Set up the portal with the invented demo scenario and serve it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--no-serve", action="store_true", help="set up only")

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write("Preparing the database …")
        call_command("migrate", verbosity=0)
        self.stdout.write("Bringing the demo's files through the upload machine …")
        _, brought, sign_ins = load_demo()
        for file in brought:
            told = (
                f"{file.upload.added:5} rows added, {file.upload.held} held" if file.now else "stored earlier"
            )
            self.stdout.write(f"  {file.upload.file_name:12} {told}")
        self.stdout.write(f"\nThe portal is at http://127.0.0.1:{options['port']}/  (Ctrl-C stops it)\n\n")
        for s in sign_ins:
            self.stdout.write(f"  {s.role:12} {s.username:10} {s.password}")
        self.stdout.write("")
        if not options["no_serve"]:
            call_command("serve", port=options["port"])
