"""The one table of what can be wrong with a file of an archive, and what to do about it."""

from __future__ import annotations

# code: (sentence, remedy). Codes are stable; texts may improve. Refusals of pictures have their own
# codes in vision/reasons.py.
CODES: dict[str, tuple[str, str]] = {
    "unusable_file": ("The file can't be used as a photo.", "Copy it from the camera again."),
    "empty_file": ("The file is empty.", "Copy it from the camera again."),
    "not_a_photo": (
        "No photo: the file is not JPEG, PNG, TIFF, WebP, BMP or HEIC.",
        "If it should be one, save it as JPEG.",
    ),
    "not_permitted": ("The file may not be read.", "Change its permissions."),
    "not_ordinary": ("Not an ordinary file: it was not opened.", "Save the photo to a file."),
    "vanished": ("The file was gone when its turn came.", "Run again when the folder is at rest."),
    "file_error": ("The file can't be read.", "Copy it to this computer."),
    "unknown_gauge": (
        "The gauge is not in the book.",
        "Enter it (datumline gauge add), or mend the name in the manifest or the folder.",
    ),
    "reader_crashed": (
        "Reading this photo ended the process twice.",
        "Shrink the picture, or save it anew.",
    ),
    "timed_out": (
        "Reading this photo took too long.",
        "Shrink the picture, or allow more time (--patience).",
    ),
    "unexpected_error": ("The reader failed on this photo.", "Report it with the photo."),
    "folder_unreadable": ("The folder can't be listed.", "Change its permissions."),
    "linked_folder": (
        "A link to a folder: it was not followed, so that no photo is read twice.",
        "Name that folder in a run of its own.",
    ),
    "broken_link": ("A link that leads nowhere, or to itself.", "Remove it, or mend it."),
    "zip_unreadable": ("The ZIP can't be opened.", "Copy it again, or unpack it first."),
    "zip_too_many": ("The ZIP lists too many files.", "Unpack it first."),
    "zip_bomb": (
        "What is packed here would unpack to far more than a photo: it was not unpacked.",
        "If it is to be trusted, unpack it first.",
    ),
    "zip_unsafe_name": (
        "The name leads out of the ZIP: it was not unpacked.",
        "Pack the file again with a plain name.",
    ),
    "zip_link": ("A link inside a ZIP: it was not followed.", "Pack the file itself."),
    "zip_encrypted": ("Packed with a password.", "Unpack it first."),
    "zip_method": ("Packed by a method that is not known here.", "Unpack it first."),
    "zip_in_zip": ("A ZIP inside a ZIP: it was not opened.", "Unpack the outer one first."),
}

# What a person need not look at: it was never meant to be a photo, or is told by the run itself.
NO_EYES = frozenset({"not_a_photo", "linked_folder", "not_ordinary", "unknown_gauge", "zip_in_zip"})
# What may be otherwise at the next run although the file has not changed.
PASSING = frozenset(
    {"not_permitted", "vanished", "file_error", "unknown_gauge", "reader_crashed", "timed_out"}
    | {"unexpected_error", "folder_unreadable", "broken_link", "zip_unreadable"}
)


class FileFault(Exception):  # noqa: N818 (not an error of ours)
    """A file of the archive that can't be read: its code and, where there is one, what was said."""

    def __init__(self, code: str, detail: str = "") -> None:
        super().__init__(code, detail)
        self.code, self.detail = code, detail


def message(code: str, detail: str = "") -> str:
    """Write the sentence and the remedy of a code; KeyError for one that is not there."""
    sentence, remedy = CODES[code]
    if detail:
        sentence = f"{sentence.rstrip('.')} ({detail})."
    return f"{sentence} {remedy}"
