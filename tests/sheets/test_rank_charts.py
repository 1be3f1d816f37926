"""Charts of a rank: what is said beside a pipe that has no value."""

from walkboard.listening.types import ReadingFlag
from walkboard.sheets.rank_charts import FLAG_WORDS


def test_every_flag_of_a_reading_has_words_on_paper():
    assert set(FLAG_WORDS) == set(ReadingFlag)
    assert len(set(FLAG_WORDS.values())) == len(FLAG_WORDS)
