"""Settings of the pages: their language, who signs in and how, and how long a sign-in lasts."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from monitor.site.basics import Settings


class PageSettings(Settings):
    """How the pages speak, and who may do what on them."""

    language: str = Field(
        "en",
        pattern=r"^[a-z]{2,3}(_[A-Za-z]{2,4})?$",
        description="Language of the pages unless one is chosen there.",
    )
    sign_in: Literal["auto", "nobody", "people", "oidc"] = Field(
        "auto",
        description="How people sign in; auto: nobody needs to on this machine alone, else the people of people_file.",
    )
    people_file: str = Field(
        "people.toml",
        min_length=1,
        max_length=300,
        description="File of people and their roles, relative to the site file.",
    )
    idle_hours: float = Field(
        12.0, gt=0, le=24 * 31, description="A sign-in ends after so long without use [h]."
    )
    longest_hours: float = Field(
        24 * 7, gt=0, le=24 * 366, description="A sign-in ends after so long in any case [h]."
    )
