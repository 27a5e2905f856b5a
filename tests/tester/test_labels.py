"""Labels of shops, lots and batches."""

from sharpstats.tester.labels import natural


def test_in_the_order_of_their_numbers() -> None:
    assert sorted(["shop 10", "shop 9", "b", "shop 1b", "2"], key=natural) == ["2", "b", "shop 1b", "shop 9", "shop 10"]
