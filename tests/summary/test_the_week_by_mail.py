"""The printed summary goes with the mail: once queued it is kept, and every try sends the same bytes."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage

from sqlalchemy import func, select

from replacements.mail.composing import Attached
from replacements.replies import outbox
from replacements.replies.html_part import html_page
from replacements.replies.texts import Rendered
from replacements.replies.transport import TemporaryTrouble
from replacements.store.database import Database
from replacements.store.tables import ReplyAttachment
from replacements.summary.figures import Week
from replacements.summary.pdf import week_pdf
from replacements.summary.text import mail_text, sentences
from tests.summary.conftest import ELECTION

AT = datetime(2032, 1, 5, 12, tzinfo=UTC)


class Post:
    """Keeps what is sent; the first `refused` tries fail."""

    def __init__(self, refused: int = 0) -> None:
        self.sent: list[bytes] = []
        self.refused = refused

    def send(self, raw: bytes, *, to: str, sender: str, message_id: str) -> None:
        self.sent.append(raw)
        if len(self.sent) <= self.refused:
            raise TemporaryTrouble("busy")


def _queue(database: Database, busy: Week) -> bytes:
    printed = week_pdf(busy, "Office", overriding=True)
    subject, text = mail_text(busy, "Office")
    for _ in range(2):  # queued twice is one mail, with one file
        with database.write() as session:
            outbox.queue(
                session,
                election_id=ELECTION,
                request_id=None,
                rendered=Rendered(
                    "weekly_summary", "en", subject, text, html_page(text, subject=subject, language="en")
                ),
                to="sue@office.example",
                in_reply_to="",
                references="",
                domain="office.example",
                seed="week/2031-12-29/1",
                at=AT,
                attached=(Attached("week-2031-12-29.pdf", "application/pdf", printed),),
            )
    return printed


def _send(database: Database, post: Post, now: datetime) -> None:
    outbox.send_due(database, post, sender_name="Office", sender_address="ballots@office.example", now=now)


def test_the_mail_has_the_sentences_and_the_printed_summary(election: Database, busy: Week) -> None:
    printed, post = _queue(election, busy), Post()
    _send(election, post, AT)
    message = message_from_bytes(post.sent[0], policy=policy.default)
    assert isinstance(message, EmailMessage)
    assert [part.get_content_type() for part in message.walk()] == [
        "multipart/mixed",
        "multipart/alternative",
        "text/plain",
        "text/html",
        "application/pdf",
    ]
    text = message.get_body(("plain",))
    assert text is not None
    for sentence in sentences(busy):
        assert sentence in text.get_content()
    (file,) = message.iter_attachments()
    assert (file.get_filename(), file.get_content()) == ("week-2031-12-29.pdf", printed)
    with election.read() as session:
        assert session.scalar(select(func.count()).select_from(ReplyAttachment)) == 1


def test_a_second_try_sends_the_same_file(election: Database, busy: Week) -> None:
    printed, post = _queue(election, busy), Post(refused=1)
    _send(election, post, AT)
    _send(election, post, AT + timedelta(hours=1))
    assert len(post.sent) == 2
    for raw in post.sent:
        (file,) = message_from_bytes(raw, policy=policy.default).iter_attachments()  # type: ignore[attr-defined]
        assert file.get_content() == printed
