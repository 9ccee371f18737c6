"""`python -m dispense`: the command, where the script of the package is not on the path."""

from .cli import run

if __name__ == "__main__":
    run()
