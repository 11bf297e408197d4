"""The process that listens to the browser: Voila, with what keeps others out set fast.

A person's own Jupyter may be told in its configuration files to listen to the network or to ask
for no word. None of that counts here: no such file is read, and nothing else can be chosen.
"""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path

HOST = "127.0.0.1"
TOKEN_VARIABLE = "JUPYTER_TOKEN"
READY = "ready"
"""File in the private folder that is there once the server listens."""


def _rules(port: int) -> str:
    """What a page may load and reach: this server only, whatever came to stand on it.

    Examples
    --------
    >>> "connect-src 'self' ws://127.0.0.1:8000" in _rules(8000)
    True
    """
    here = " ".join(f"ws://{name}:{port}" for name in (HOST, "localhost"))
    return "; ".join((
        "default-src 'self'",
        # Voila writes its scripts into the page, widgets of our own come as blobs, and JupyterLab
        # compiles the checks of its settings.
        "script-src 'self' 'unsafe-inline' 'unsafe-eval' blob:",
        "style-src 'self' 'unsafe-inline' data: blob:",
        "img-src 'self' data: blob:", "font-src 'self' data:", "worker-src 'self' blob:",
        f"connect-src 'self' {here} data: blob:",
        "object-src 'none'", "base-uri 'self'", "form-action 'self'", "frame-ancestors 'self'"))


class _Masked:
    """A stream on which a word is never written.

    Examples
    --------
    >>> import io
    >>> inner = io.StringIO()
    >>> _Masked(inner, "secret").write("404 GET /?token=secret")
    17
    >>> inner.getvalue()
    '404 GET /?token=…'
    """

    def __init__(self, stream, word: str):
        self._stream, self._word = stream, word

    def write(self, text: str) -> int:
        """Write text, dots in the word's place."""
        return self._stream.write(text.replace(self._word, "…"))

    def __getattr__(self, name: str):
        return getattr(self._stream, name)


def _listen(port: int, private: Path) -> None:
    """Serve the notebooks of this folder on this computer's own address until told to end.

    Parameters
    ----------
    private
        A folder nobody else can look into.
    """
    token = os.environ.pop(TOKEN_VARIABLE, "")
    if len(token) < 32:
        raise SystemExit("The word that lets a browser in is missing or short.")
    # Requests that go wrong are logged with their address, and the word is part of it.
    sys.stdout, sys.stderr = _Masked(sys.stdout, token), _Masked(sys.stderr, token)
    from jupyter_server.auth.identity import IdentityProvider
    from traitlets.config import Config
    from voila.app import Voila

    class Pages(Voila):
        def load_config_file(self, *_places, **_more):
            """No configuration of other programs counts."""

        def launch_browser(self):
            """Called when the port is ours: until then another program may answer there."""
            (private / READY).touch()

    Pages.launch_instance(
        [".", "--template=estimator",
         # A closed page cannot take its kernel with it: idle ones without a page are taken away.
         # Under 30 s a kernel would go while its page still loads.
         "--MappingKernelManager.cull_idle_timeout=120",
         "--MappingKernelManager.cull_interval=30"],
        ip=HOST, port=port, port_retries=0, token=token, identity_provider_class=IdentityProvider,
        connection_dir_root=str(private),
        # A link on a page of another site opens nothing in the name of who was let in.
        config=Config(IdentityProvider={"cookie_options": {"samesite": "Strict"}}),
        # A page of another site may have its name lead to this computer: names are looked at too.
        tornado_settings={"allow_remote_access": False,
                          "headers": {"Content-Security-Policy": _rules(port),
                                      "Referrer-Policy": "no-referrer"}})


if __name__ == "__main__":
    with contextlib.suppress(KeyboardInterrupt):
        _listen(int(sys.argv[1]), Path(sys.argv[2]))
