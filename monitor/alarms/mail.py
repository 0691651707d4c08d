"""A message as a mail: text, HTML and picture in one, with a Message-ID that stays when it is sent again."""

from __future__ import annotations

import base64
import re
import smtplib
import ssl
from email import message_from_string
from email.message import EmailMessage
from email.utils import formataddr, formatdate, parseaddr
from typing import Any

from monitor.alarms.words import Words

LONGEST_HEADER = 998
"""The longest line that a mail may have (RFC 5322, section 2.1.1)."""
_PICTURE = re.compile(r"data:image/png;base64,([A-Za-z0-9+/=]+)")


def send_mail(channel: Any, words: Words, message: str, thread: str, form: str, timeout_s: float) -> str:
    """Send words by the mail server of an Apprise mail address, to its one target; why it failed, or nothing."""
    name, address = channel.targets[0]
    try:
        mail = mail_of(words, form, message, thread, _sender(channel.from_addr), (name or "", address))
        context = ssl.create_default_context()
        if not channel.verify_certificate:
            context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
        with _connected(channel, context, timeout_s) as server:
            if channel.secure_mode == "starttls":
                server.starttls(context=context)
            if channel.user and channel.password:
                server.login(channel.user, channel.password)
            server.send_message(mail)
    except smtplib.SMTPServerDisconnected:
        return "the mail server broke off"
    except smtplib.SMTPRecipientsRefused as error:
        code, said = next(iter(error.recipients.values()))
        return f"the mail server refused the recipient ({code} {_plain(said)})"
    except smtplib.SMTPResponseException as error:
        return f"the mail server refused ({error.smtp_code} {_plain(error.smtp_error)})"
    except (OSError, smtplib.SMTPException, ValueError) as error:
        return f"the mail server cannot be reached or does not answer ({_plain(str(error) or type(error).__name__)})"
    return ""


def mail_of(
    words: Words, form: str, message: str, thread: str, sender: tuple[str, str], to: tuple[str, str]
) -> EmailMessage:
    """The mail of a message.

    Parameters
    ----------
    form : ``line`` for the one line alone, ``text`` for text without HTML, else both with the picture inside
    message, thread : keys that make its Message-ID, and that of the thread it belongs to
    sender, to : (name, address)
    """
    mail = EmailMessage()
    domain = sender[1].rpartition("@")[2] or "localhost"
    mail["Subject"], mail["From"], mail["To"] = words.title, formataddr(sender), formataddr(to)
    mail["Date"], mail["Message-ID"] = formatdate(), f"<{message}@{domain}>"
    mail["References"] = f"<{thread}@{domain}>"
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content(words.line if form == "line" else words.text)
    if words.html and form in ("auto", "html"):
        picture = _PICTURE.search(words.html)
        cid = f"air-{message[:12]}@{domain}"
        mail.add_alternative(_PICTURE.sub(f"cid:{cid}", words.html), subtype="html")
        if picture:
            part = mail.get_payload()[1]  # type: ignore[index]
            part.add_related(  # type: ignore[union-attr]
                base64.b64decode(picture[1]),
                "image",
                "png",
                cid=f"<{cid}>",
                filename="air.png",
                disposition="inline",
            )
    if _read_back(mail) != words.title:
        # Python folds some subjects so that a space is doubled where a line ends; one long line is read as it was written.
        mail.policy = mail.policy.clone(max_line_length=LONGEST_HEADER)
    return mail


def _read_back(mail: EmailMessage) -> str:
    """The subject as a receiver reads it."""
    name, text = mail.policy.fold("Subject", mail["Subject"]).split(":", 1)
    return str(message_from_string(f"{name}:{text}\n", policy=mail.policy)["Subject"])


def _connected(channel: Any, context: ssl.SSLContext, timeout_s: float) -> smtplib.SMTP:
    if channel.secure_mode == "ssl":
        return smtplib.SMTP_SSL(channel.smtp_host, channel.port, timeout=timeout_s, context=context)
    return smtplib.SMTP(channel.smtp_host, channel.port, timeout=timeout_s)


def _sender(given: Any) -> tuple[str, str]:
    name, address = given if isinstance(given, list | tuple) else parseaddr(str(given))
    # Apprise names itself where the address gives no name; a message is from the monitor.
    return ("Maturing room monitor" if not name or name == "Apprise" else str(name)), str(address)


def _plain(said: bytes | str) -> str:
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:150]
