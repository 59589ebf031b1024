"""What stands on the sheets of a PDF, read back by another program (pypdf)."""

import io

import pytest

pypdf = pytest.importorskip("pypdf")


def sheets(pdf):
    """The words of each sheet, blanks and line ends as one blank."""
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    return [" ".join(page.extract_text().split()) for page in reader.pages]
