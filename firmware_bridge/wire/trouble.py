"""Why a broker could not be reached, in words that say what to mend."""

from __future__ import annotations

import socket
import ssl

from firmware_bridge.config import BrokerConfig

__all__ = ["never_answered", "reason_of", "refusal"]

_EXPIRED = "its certificate has expired; renew it on the broker (or look at this machine's clock)"
_OLD = "it speaks only TLS older than 1.2; bring the broker up to date"
_STRANGER = (
    "its certificate is signed by nobody that {trusted} vouches for; give as ca_file the "
    "certificate of the authority that signed the broker's"
)
_NAME = (
    "its certificate is not for {host}; write as broker.host the name that it was made for, or "
    "have one made with the subject alternative name {host}"
)
# X509_V_ERR_...: verify_code of OpenSSL's X509_STORE_CTX_get_error(3).
_VERIFY = {
    2: _STRANGER,
    9: "its certificate is not valid yet; look at this machine's clock, and at the broker's",
    10: _EXPIRED,
    18: _STRANGER,
    19: _STRANGER,
    20: _STRANGER,
    21: _STRANGER,
    23: "its certificate was revoked; have a new one made",
    62: _NAME,
    64: _NAME,
}
_ALERTS = {
    "WRONG_VERSION_NUMBER": "it does not speak TLS there; the port for TLS is usually 8883",
    "UNEXPECTED_EOF_WHILE_READING": "it ended the handshake; is {port} its port for TLS?",
    "TLSV13_ALERT_CERTIFICATE_REQUIRED": "it wants a certificate; give cert_file and key_file",
    "TLSV1_ALERT_UNKNOWN_CA": "it does not know who signed cert_file",
    "SSLV3_ALERT_CERTIFICATE_EXPIRED": "cert_file has expired; have a new one made",
    "SSLV3_ALERT_BAD_CERTIFICATE": "it does not take cert_file",
    "SSLV3_ALERT_HANDSHAKE_FAILURE": "it wants a certificate; give cert_file and key_file",
    "TLSV1_ALERT_PROTOCOL_VERSION": _OLD,
    "UNSUPPORTED_PROTOCOL": _OLD,
}


def reason_of(error: BaseException | None, broker: BrokerConfig) -> str:
    """What went wrong, and how to mend it."""
    if isinstance(error, ssl.SSLCertVerificationError):
        words = _VERIFY.get(error.verify_code, f"its certificate: {error.verify_message}")
    elif isinstance(error, ssl.SSLError):
        words = _ALERTS.get(error.reason or "", f"TLS: {error.reason or error}")
    elif isinstance(error, socket.gaierror):
        words = "no such name; look at broker.host, and at the network's name server"
    elif isinstance(error, ConnectionRefusedError):
        words = "nothing listens there; is the broker running, and is that its port?"
    elif isinstance(error, TimeoutError):
        words = "no answer; is the machine on, and does a firewall let {port} through?"
    elif isinstance(error, ConnectionResetError) and broker.tls:
        words = _ALERTS["UNEXPECTED_EOF_WHILE_READING"]
    else:
        words = "" if error is None else str(error)
    trusted = "this machine" if broker.ca_file is None else broker.ca_file.name
    for name, value in (("trusted", trusted), ("host", broker.host), ("port", str(broker.port))):
        words = words.replace(f"{{{name}}}", value)
    return words


def never_answered(broker: BrokerConfig) -> str:
    """Why a broker may end a connection before the first word."""
    if not broker.tls:
        return f"it ended before the first word; does {broker.port} want TLS? Then give ca_file"
    if broker.cert_file is None:
        return "it may want a certificate; give cert_file and key_file"
    return f"it may not take {broker.cert_file.name}: expired, or signed by another authority?"


def refusal(code: str, broker: BrokerConfig) -> str:
    """What a broker says that lets nobody in, and where to look."""
    look = ""
    if code in ("Not authorized", "Bad user name or password"):
        look = "; look at username and password in [broker], and at the broker's own list of them"
        look = look if broker.username else "; it wants a name: give username and password_file"
    return f"the broker refused: {code}{look}"
