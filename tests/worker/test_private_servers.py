"""The servers that other tests lean on do what those tests believe."""

from __future__ import annotations

import smtplib

import pytest
from redis import Redis

from tests.servers.redis import RedisServer
from tests.servers.smtp import SmtpServer


def test_the_mail_server_keeps_what_it_is_given(smtp_server: SmtpServer) -> None:
    with smtplib.SMTP(smtp_server.host, smtp_server.port) as client:
        client.sendmail("ballots@county.example", ["ada@home.example"], b"Subject: hello\r\n\r\nx\r\n")
    assert smtp_server.delivered[0].recipients == ("ada@home.example",)
    assert smtp_server.delivered[0].message["Subject"] == "hello"


def test_the_mail_server_refuses_whom_it_is_told_to(smtp_server: SmtpServer) -> None:
    smtp_server.answers["ada@home.example"] = "450 4.2.1 later"
    with smtplib.SMTP(smtp_server.host, smtp_server.port) as client, pytest.raises(smtplib.SMTPRecipientsRefused):
        client.sendmail("ballots@county.example", ["ada@home.example"], b"Subject: hello\r\n\r\nx\r\n")
    assert smtp_server.delivered == []


def test_redis_forgets_everything_when_it_is_stopped(redis_server: RedisServer) -> None:
    with Redis.from_url(redis_server.url) as client:
        client.set("a", "b")
    redis_server.stop()
    redis_server.start()
    with Redis.from_url(redis_server.url) as client:
        assert client.get("a") is None
