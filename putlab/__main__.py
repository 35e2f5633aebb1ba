"""`python -m putlab` is the `putlab` command."""

from putlab.cli import main

if __name__ == "__main__":
    main()
