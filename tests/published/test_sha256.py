"""The hash of the seals against the examples of its standard."""

from fibres.calc.chain import sha256
from tests.published.rows import published


@published("sha256")
def test_hash_is_that_of_the_standard(row):
    assert sha256(row["text"].encode("ascii") * int(row["times"])) == row["expected"]
