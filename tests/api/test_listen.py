"""Where the page may listen, and what is said about anywhere else."""

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


@pytest.mark.parametrize(
    "host", ["0.0.0.0", "[::]", "192.168.1.7", "10.0.0.1", "tank.lan", "1.1.1.1", "[::1]"]
)
def test_anywhere_else_waits_for_a_password(host: str) -> None:
    with pytest.raises(ListenError, match=r"only loopback is allowed.*no operator's password yet"):
        parse_listen(f"{host}:8080")


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
