"""Coming in and going out: signing in elsewhere, signing in again without losing what was typed, and the page's foot."""

from __future__ import annotations

from urllib.parse import quote

import streamlit as st

from dashboard.language import ENGLISH, current, languages, say
from dashboard.look import notice
from dashboard.plain import text
from dashboard.signing import Reader, token_of_page
from dashboard.source import Source
from monitor.errors import SignInError


def sign_in(source: Source) -> None:
    """Ask a reader who has not signed in to do so: at the provider, or at this server's own form."""
    st.html(f'<h1 class="headline">{text(source.site.site.name)}</h1>')
    if source.door is None or source.door.mode == "oidc":
        if st.button(say("Sign in"), type="primary"):
            st.login()
        return
    link = f'<a class="plain-link" href="sign-in" target="_self">{text(say("Sign in"))}</a>'
    st.html(notice(f"<b>{text(say('Your sign-in has ended.'))}</b> {link}", "needs-you"))


def sign_in_again(source: Source, reader: Reader) -> None:
    """Ask for the password again above a page whose reader's sign-in has ended; the page keeps what was typed."""
    words = say("Your sign-in has ended, {name}. Nothing you typed is lost.", name=reader.name)
    st.html(notice(f"<b>{text(words)}</b>", "needs-you"))
    if source.door is None or source.door.mode == "oidc":
        if st.button(say("Sign in"), type="primary", key="again"):
            st.login()
        return
    with st.form("again", border=False), st.container(horizontal=True, vertical_alignment="bottom"):
        password = st.text_input(
            say("Password"), type="password", autocomplete="current-password", max_chars=1000
        )
        if st.form_submit_button(say("Sign in again"), type="primary"):
            try:
                source.door.try_password(reader.name, password, st.context.ip_address or "", token_of_page())
            except SignInError as error:
                st.html(notice(text(error), "needs-you"))
                return
            st.rerun()


def way_out() -> None:
    """A way to sign out for whom the pages do not know."""
    if getattr(st.user, "is_logged_in", False) and st.button(say("Sign out")):
        st.logout()


def foot(reader: Reader) -> None:
    """Who is signed in, the way out, and the languages."""
    here = quote(f"{st.context.url or '/'}", safe="")
    shown = current()
    chosen = " · ".join(
        f"<b>{text(name)}</b>"
        if code == shown
        else f'<a class="plain-link" lang="{code}" target="_self" href="language?code={code}&amp;next={here}">{text(name)}</a>'
        for code, name in languages().items()
    )
    who = ""
    if reader.name:
        way = f'<a class="plain-link" target="_self" href="sign-out">{text(say("Sign out"))}</a>'
        who = f"<span>{text(say('Signed in as {name}', name=reader.name))} ({text(say(reader.role))}) · {way}</span>"
    # Said in the reader's language, since it is about what is not.
    written = (
        ""
        if shown == ENGLISH
        else f"<span>{text(say('What the monitor itself writes stands in English.'))}</span>"
    )
    st.html(f'<footer class="page-foot"><span>{chosen}</span>{written}{who}</footer>')
