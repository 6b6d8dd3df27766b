"""What workers do with odd fonts. They import this module, so it imports nothing but what it needs."""

from __future__ import annotations

import numpy as np

from keyturn.flatten import lettering
from keyturn.flatten.lettering import TextLook
from keyturn.flatten.set_words import WordsJob, set_words


def drawn(job: WordsJob) -> np.ndarray:
    """The alpha of the words in lines of 100 pixels, as a frame gets it."""
    words = set_words(job).words
    look = TextLook((255, 255, 255))
    return lettering.drawn(words, look, 100 * words.height / words.line, 10**6, job.intake).light[..., 3]
