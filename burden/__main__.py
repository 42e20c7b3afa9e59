"""Lets `python -m burden` do what `burden` does."""

from burden.cli import main

if __name__ == "__main__":
    main(prog_name="burden")
