"""Small devices that stock widgets lack: the survey table, choices, sliders, a heartbeat, files."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import anywidget
import traitlets

from estimator.catalogue import CONDITIONS, Catalogue, Certainty
from estimator.errors import Fault
from estimator.pages.boxes import asset
from estimator.pages.desk import Desk
from estimator.survey.cells import written

UPLOAD_MOST_BYTES = 8_000_000


class SurveyTable(anywidget.AnyWidget):
    """The lines of a survey as a table of native fields.

    Rows go down as a whole only when lines come or go. Edits come up as messages: `on_edits`
    gets `[[id, column, value], …]`, `on_add` an assembly, `on_remove` an id.
    """

    _esm = asset("survey_table.js")
    _css = asset("survey_table.css")
    rows = traitlets.List().tag(sync=True)
    prices = traitlets.Dict().tag(sync=True)
    opens = traitlets.Dict().tag(sync=True)
    marks = traitlets.Dict().tag(sync=True)
    choices = traitlets.Dict().tag(sync=True)

    def __init__(self, catalogue: Catalogue, on_edits: Callable, on_add: Callable,
                 on_remove: Callable):
        super().__init__(choices={
            "conditions": [str(word) for word in CONDITIONS],
            "certainties": [str(word) for word in Certainty],
            "assemblies": [[row.assembly, row.name, row.group]
                           for row in catalogue.assemblies.values() if not row.extra],
        })
        self._catalogue = catalogue
        self._answers = {"edits": on_edits, "add": on_add, "remove": on_remove}
        self.on_msg(self._heard)

    def show(self, desk: Desk, focus: int | None = None) -> None:
        """Draw the lines of a desk; `focus` is the id of the line to go to."""
        self.marks = {}
        self.rows = [_row(entry, number, self._catalogue)
                     for number, entry in enumerate(desk.entries, 1)]
        if focus is not None:
            self.send({"focus": focus})

    def price(self, prices: Mapping[int, str], opens: Mapping[int, str]) -> None:
        """Show what each line costs, by id, and which figure of the quote that opens."""
        with self.hold_sync():
            self.prices = {str(key): said for key, said in prices.items()}
            self.opens = {str(key): figure for key, figure in opens.items()}

    def mark(self, wrong: Mapping[int, Mapping[str, str]]) -> None:
        """Mark fields with what is wrong with them, by id and column."""
        self.marks = {str(key): dict(columns) for key, columns in wrong.items()}

    def _heard(self, _widget, message, _buffers) -> None:
        for name, answer in self._answers.items():
            if isinstance(message, dict) and name in message:
                answer(message[name])


def _row(entry, number: int, catalogue: Catalogue) -> dict:
    line = entry.line
    assembly = catalogue.assemblies[line.assembly]
    # Where both are usual, work goes by the area.
    measure = ("area_cm2" if assembly.area_cm2 else "length_mm" if assembly.length_mm else
               "area_cm2" if line.area_cm2 else "length_mm" if line.length_mm else "")
    size = getattr(line, measure) if measure else None
    usual = getattr(assembly, measure) if measure else None
    return {
        "id": entry.id, "no": number, "name": assembly.name, "group": assembly.group,
        "keep": entry.keep, "droppable": assembly.droppable,
        "count": "" if line.count is None else str(line.count),
        "condition": str(line.condition or ""), "certainty": str(line.certainty or ""),
        "measure": measure, "size": "" if size is None else written(size),
        "usual": "" if usual is None else written(usual), "note": line.note,
        "signs": {name: getattr(assembly, f"signs_{name}")
                  for name in ("light", "worn", "heavy", "failed")},
    }


class ChoiceTable(anywidget.AnyWidget):
    """Rows with check boxes and fields; `on_edit` gets row, column and what was typed."""

    _esm = asset("plan_table.js")
    _css = asset("plan_table.css")
    name = traitlets.Unicode().tag(sync=True)
    title = traitlets.Unicode().tag(sync=True)
    head = traitlets.Unicode().tag(sync=True)
    empty = traitlets.Unicode().tag(sync=True)
    columns = traitlets.List().tag(sync=True)
    rows = traitlets.List().tag(sync=True)

    def __init__(self, name: str, title: str, head: str, columns: Sequence[Mapping], empty: str,
                 on_edit: Callable[[str, str, str], None]):
        super().__init__(name=name, title=title, head=head, columns=list(columns), empty=empty)
        self._on_edit = on_edit
        self.on_msg(self._heard)

    def _heard(self, _widget, message, _buffers) -> None:
        if isinstance(message, dict) and "edit" in message:
            self._on_edit(*map(str, message["edit"]))


class Slider(anywidget.AnyWidget):
    """A figure that can be typed or slid; what is typed may lie outside of the slider's ends."""

    _esm = asset("slider.js")
    label = traitlets.Unicode().tag(sync=True)
    help = traitlets.Unicode().tag(sync=True)
    value = traitlets.Float().tag(sync=True)
    min = traitlets.Float().tag(sync=True)
    max = traitlets.Float().tag(sync=True)
    step = traitlets.Float(1.0).tag(sync=True)


class Pulse(anywidget.AnyWidget):
    """Tells the page that the kernel lives, and us that the page is there.

    Shows a banner when answers stay away. Also carries what every page needs: its style sheet, a
    voice for those who hear the page (whatever has `data-say` is said when it changes), and care
    that the focus stays where it was; keeps keys typed in the form from JupyterLab's commands.
    `saved` is the time that the banner names.
    """

    _esm = asset("voice.js") + asset("focus.js") + asset("pulse.js")
    _css = asset("page.css")
    saved = traitlets.Unicode().tag(sync=True)

    def __init__(self, on_hello: Callable[[], None]):
        super().__init__()
        self._on_hello = on_hello
        self.on_msg(self._heard)

    def _heard(self, _widget, message, _buffers) -> None:
        if isinstance(message, dict) and "ping" in message:
            self.send({"pong": 1})
        if isinstance(message, dict) and "hello" in message:
            self._on_hello()

    def address(self, draft: str) -> None:
        """Let a reload open this draft again."""
        self.send({"draft": draft})


def too_big(name: str, size: int, what: str) -> Fault:
    """What is wrong with an upload of which only the size has come, in bytes."""
    return Fault(f"The file has {size / 1e6:,.0f} MB; {what} has at most "
                 f"{UPLOAD_MOST_BYTES / 1e6:.0f} MB.", "Is it the right file?", name)


class FileButton(anywidget.AnyWidget):
    """A button that takes a file from the person, or hands one to them.

    With `takes` (endings, ".csv,.xlsx") `on_file` gets name, size and bytes, the bytes None
    where the file is over `UPLOAD_MOST_BYTES`. Without, `on_want` is asked on each click and calls
    `hand_out`.
    """

    _esm = asset("files.js")
    label = traitlets.Unicode().tag(sync=True)
    takes = traitlets.Unicode().tag(sync=True)
    most_bytes = traitlets.Int(UPLOAD_MOST_BYTES).tag(sync=True)
    disabled = traitlets.Bool(False).tag(sync=True)

    def __init__(self, label: str, *, takes: str = "", on_file: Callable | None = None,
                 on_want: Callable | None = None):
        super().__init__(label=label, takes=takes)
        self._on_file, self._on_want = on_file, on_want
        self.on_msg(self._heard)

    def hand_out(self, name: str, media: str, data: bytes) -> None:
        """Save a file on the person's side."""
        self.send({"name": name, "type": media}, buffers=[data])

    def _heard(self, _widget, message, buffers) -> None:
        if not isinstance(message, dict):
            return
        if "want" in message and self._on_want:
            self._on_want()
        elif "name" in message and self._on_file:
            data = bytes(buffers[0]) if buffers else None
            self._on_file(str(message["name"]), int(message.get("size", 0)), data)
