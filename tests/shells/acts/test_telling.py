"""What an act says goes to whoever listens, and to nobody else."""

import threading
from contextvars import copy_context

from wideroll.acts.telling import Listener, listen, listening, progress, tell
from wideroll.workflow import Silent


def test_nothing_is_said_where_nobody_listens(capsys):
    """Without a listener a message and progress go nowhere, and are no error."""
    copy_context().run(_unheard)
    assert capsys.readouterr() == ("", "")


def _unheard():
    with listening(Listener()):
        tell("is anybody there?")
        assert isinstance(progress(), Silent)


def test_a_listener_hears_only_what_is_said_in_its_own_context():
    """Of two requests at once each hears its own act, also in a thread that has a copy of its context."""
    heard = {"one": [], "two": []}

    def request(name):
        with listening(Listener(tell=heard[name].append)):
            tell(f"{name} begins")
            thread = threading.Thread(target=copy_context().run, args=(tell, f"{name} works"))
            thread.start()
            thread.join()

    for name in heard:
        copy_context().run(request, name)
    assert heard == {"one": ["one begins", "one works"], "two": ["two begins", "two works"]}


def test_who_listened_before_hears_again_afterwards():
    """A listener for a while takes nothing away from the one that was there."""
    heard = []

    def session():
        listen(Listener(tell=heard.append))
        with listening(Listener()):
            tell("not heard")
        tell("heard")

    copy_context().run(session)
    assert heard == ["heard"]
