"""Where the page may listen, and what is said about anywhere else."""

from typing import Any

import pytest

from daemon.api.listen import Listen, ListenError, parse_listen


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("127.0.0.1:8080", Listen("127.0.0.1", 8080)),
        ("127.9.9.9:1", Listen("127.9.9.9", 1)),
        ("localhost:65535", Listen("localhost", 65535)),
    ],
)
def test_loopback_is_allowed(text: str, expected: Listen) -> None:
    assert parse_listen(text) == expected


@pytest.mark.parametrize("host", ["192.168.1.7", "10.0.0.1", "tank.lan", "1.1.1.1", "127.1"])
def test_anywhere_else_needs_an_operator(host: str) -> None:
    listen = parse_listen(f"{host}:8080")
    assert not listen.only_this_machine
    with pytest.raises(ListenError, match=f"listen: {host}:8080 is for others.*`tankhand operator"):
        listen.check_operator(list)
    listen.check_operator(lambda: ["anna"])


@pytest.mark.parametrize("more", [{"hosts": ["tank.lan"]}, {"proxy": "127.0.0.1"}])
def test_so_does_what_leads_others_here(more: dict[str, Any]) -> None:
    listen = parse_listen("127.0.0.1:8080", **more)
    with pytest.raises(ListenError, match="with hosts or a proxy is for others"):
        listen.check_operator(list)
    parse_listen("127.0.0.1:8080").check_operator(list)


def test_every_address_has_to_be_told_its_names() -> None:
    with pytest.raises(ListenError, match=r"hosts: 0.0.0.0:80 listens on every address"):
        parse_listen("0.0.0.0:80")
    listen = parse_listen("0.0.0.0:80", ["tank.lan", "192.168.1.7"])
    assert listen.trusted_hosts == ["127.0.0.1", "192.168.1.7", "localhost", "tank.lan"]


@pytest.mark.parametrize("host", ["[::]", "[::1]", "Tank.lan", ".lan", "a b", "a/b", "-a", "a_b"])
def test_what_cannot_be_checked_as_a_name_is_refused(host: str) -> None:
    with pytest.raises(ListenError, match=r"expected an IPv4 address or a name in small letters"):
        parse_listen(f"{host}:8080")
    with pytest.raises(ListenError, match=r"hosts: .* is no name or IPv4 address"):
        parse_listen("0.0.0.0:80", [host])


@pytest.mark.parametrize("name", ["tank.lan:8080", "http://tank.lan", "*", "", "0.0.0.0"])
def test_a_name_of_the_page_is_a_name_alone(name: str) -> None:
    with pytest.raises(ListenError, match=r"hosts: "):
        parse_listen("127.0.0.1:80", [name])


@pytest.mark.parametrize("proxy", ["*", "", "proxy.lan", "10.0.0.0/8", "::1"])
def test_a_proxy_is_one_address(proxy: str) -> None:
    with pytest.raises(ListenError, match=r"proxy: .* is no IPv4 address"):
        parse_listen("127.0.0.1:80", proxy=proxy)


@pytest.mark.parametrize("text", ["", "8080", ":8080", "127.0.0.1", "127.0.0.1:", "127.0.0.1:x"])
def test_what_is_no_address_is_named(text: str) -> None:
    with pytest.raises(ListenError, match="is not HOST:PORT, for example"):
        parse_listen(text)


@pytest.mark.parametrize("port", ["0", "65536", "99999999"])
def test_a_port_out_of_range_is_named(port: str) -> None:
    with pytest.raises(ListenError, match="1 to 65535 are allowed"):
        parse_listen(f"127.0.0.1:{port}")


def test_the_own_address_is_a_name_to_call_by() -> None:
    assert Listen("127.9.9.9", 80).trusted_hosts == [
        "127.0.0.1",
        "127.9.9.9",
        "localhost",
    ]
