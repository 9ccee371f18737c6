"""Add or remove an extension in a user profile through LibreOffice's own extension manager.

Run by LibreOffice's Python: manage.py SOFFICE PROFILE-URL add FILE | remove IDENTIFIER.
For root, whom `unopkg` refuses this.
"""

import contextlib
import os
import pathlib
import subprocess
import sys
import time

import uno
import unohelper
from com.sun.star.task import XInteractionHandler
from com.sun.star.ucb import XCommandEnvironment, XProgressHandler

PATIENCE = 120  # seconds for LibreOffice to come up


class Consent(unohelper.Base, XCommandEnvironment, XInteractionHandler, XProgressHandler):
    """Says yes to what the extension manager asks (replace an older version)."""

    def getInteractionHandler(self):
        return self

    def getProgressHandler(self):
        return self

    def handle(self, request):
        approve = uno.getTypeByName("com.sun.star.task.XInteractionApprove")
        for choice in request.getContinuations():
            if choice.queryInterface(approve):
                choice.select()

    def push(self, status):
        pass

    def update(self, status):
        pass

    def pop(self):
        pass


def start(soffice, profile_url, *files):
    """A headless LibreOffice with this profile: its process and its component context.

    It opens the files itself, in the thread of its windows, as when a user opens them.
    """
    pipe = f"dispense{os.getpid()}"
    address = f"pipe,name={pipe};urp;StarOffice.ComponentContext"
    process = subprocess.Popen(
        [
            soffice,
            "--headless",
            "--norestore",
            "--nologo",
            "--nodefault",
            "-env:UserInstallation=" + profile_url,
            "--accept=" + address,
            *files,
        ]
    )
    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
    until = time.monotonic() + PATIENCE
    while True:
        try:
            return process, resolver.resolve("uno:" + address)
        except Exception as error:  # UNO raises its own kinds while the office starts
            if time.monotonic() > until or process.poll() not in (None, 0, 81):
                process.kill()
                raise SystemExit(f"LibreOffice does not start: {error}") from None
            time.sleep(0.2)


def stop(process, context):
    """Close LibreOffice."""
    desktop = context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context)
    with contextlib.suppress(Exception):  # the connection may break while it closes
        desktop.terminate()
    try:
        process.wait(60)
    except subprocess.TimeoutExpired:
        process.kill()


def main(soffice, profile_url, action, argument):
    """Do it; the exit code tells how it went."""
    process, context = start(soffice, profile_url)
    try:
        manager = context.getValueByName("/singletons/com.sun.star.deployment.ExtensionManager")
        consent = Consent()
        if action == "add":
            manager.addExtension(pathlib.Path(argument).as_uri(), (), "user", None, consent)
            return 0
        for extension in manager.getDeployedExtensions("user", None, consent):
            if extension.getIdentifier().Value == argument:
                manager.removeExtension(argument, extension.getName(), "user", None, consent)
                return 0
        print("the add-in is not installed", file=sys.stderr)
        return 1
    except Exception as error:  # the office tells why in errors of its own kinds
        print(getattr(error, "Message", "") or error, file=sys.stderr)
        return 1
    finally:
        stop(process, context)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
