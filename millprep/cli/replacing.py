"""The option that replaces a set which is being cut."""

from __future__ import annotations

import click

replace_option = click.option(
    "--replace",
    is_flag=True,
    help="Replace a set that is marked as begun. What is cut already may not fit the new one.",
)
