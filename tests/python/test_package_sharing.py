"""Models and answers in other processes, tables of pandas, answers in a notebook."""

from __future__ import annotations

import copy
import json
import multiprocessing
import pickle
from concurrent.futures import ProcessPoolExecutor
from html.parser import HTMLParser

import faultloom
import numpy as np
import pandas as pd
import pytest

from small_cart import small_job, small_vehicle


@pytest.fixture(scope="module")
def cart() -> faultloom.Model:
    return faultloom.Model(small_vehicle())


# -- other processes -------------------------------------------------------------------------------


def test_a_pickled_model_answers_the_same(cart: faultloom.Model) -> None:
    again = pickle.loads(pickle.dumps(cart))
    assert again.modes == cart.modes
    assert again.rank(small_job()).text == cart.rank(small_job()).text
    assert copy.deepcopy(cart).summary().text == cart.summary().text


def test_a_pickled_model_keeps_the_documents_it_was_built_with() -> None:
    rates = json.loads((faultloom.data_path() / "rates.json").read_text(encoding="utf-8"))
    rates["not_in_model"] = 0.25
    shipped = faultloom.Model(small_vehicle()).rank(small_job()).not_in_model
    own = faultloom.Model(small_vehicle(), rates=rates)
    again = pickle.loads(pickle.dumps(own))
    assert again.rank(small_job()).text == own.rank(small_job()).text
    assert own.rank(small_job()).not_in_model > shipped


def test_a_pickled_model_does_not_need_the_file_any_more(tmp_path) -> None:
    path = tmp_path / "cart.json"
    path.write_text(json.dumps(small_vehicle()), encoding="utf-8")
    pickled = pickle.dumps(faultloom.Model(path))
    path.unlink()
    assert pickle.loads(pickled).summary().id == "small-cart"


def test_a_pool_of_processes_ranks_jobs_with_one_model(cart: faultloom.Model) -> None:
    jobs = []
    for volts in (0.02, 6.0, 12.6):
        job = small_job()
        job["entries"][2]["volts"] = volts
        jobs.append(job)
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(2, mp_context=spawn) as pool:
        rankings = list(pool.map(cart.rank, jobs))
    assert [ranking.text for ranking in rankings] == [cart.rank(job).text for job in jobs]
    assert len({ranking.text for ranking in rankings}) == len(jobs)


def test_every_answer_can_be_pickled(cart: faultloom.Model) -> None:
    job = small_job()
    answers = [cart.rank(job), cart.next_step(job), cart.explain(job), cart.plan(job, depth=1)]
    answers += [cart.summary(), cart.solve({"key": "on"}), cart.ambiguity(job), cart.testability()]
    for answer in answers:
        again = pickle.loads(pickle.dumps(answer))
        assert type(again) is type(answer)
        assert again.text == answer.text
        assert dict(again) == dict(answer)


def test_an_error_crosses_processes_with_all_its_problems() -> None:
    vehicle = small_vehicle()
    vehicle["parts"]["H1"]["kind"] = "no_such_kind"
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(1, mp_context=spawn) as pool, pytest.raises(faultloom.Error) as caught:
        pool.submit(faultloom.Model, vehicle).result()
    with pytest.raises(faultloom.Error) as here:
        faultloom.Model(vehicle)
    assert caught.value.problems == here.value.problems
    assert caught.value.pointer == "/parts/H1/kind"


# -- pandas ----------------------------------------------------------------------------------------


def test_entries_may_be_a_table(cart: faultloom.Model) -> None:
    job = small_job()
    job["entries"][1]["visit"] = 2  # an integer that is a float in a column with empty cells
    table = pd.DataFrame(job["entries"])
    assert table["visit"].dtype == np.float64
    assert table.isna().to_numpy().any()
    assert cart.rank({**job, "entries": table}).text == cart.rank(job).text


def test_a_slip_in_a_table_has_its_row(cart: faultloom.Model) -> None:
    job = small_job()
    table = pd.DataFrame(job["entries"])
    table.loc[3, "red"] = "S9.out"
    with pytest.raises(faultloom.Error) as caught:
        cart.rank({**job, "entries": table})
    assert caught.value.pointer == "/entries/3/red"


def test_a_ranking_as_a_table(cart: faultloom.Model) -> None:
    ranking = cart.rank(small_job())
    table = ranking.to_pandas()
    assert list(table.columns) == ["title", "probability", "kind", "zone", "loom"]
    assert list(table.index) == [suspect.id for suspect in ranking.components]
    assert table["probability"].dtype == np.float64
    assert table["probability"].is_monotonic_decreasing
    first = ranking.components[0]
    assert table.loc[first.id, "probability"] == first.probability
    assert table.loc[first.id, "title"] == first.title


def test_arrays_and_names_make_a_series(cart: faultloom.Model) -> None:
    series = pd.Series(cart.mode_posteriors(small_job()), index=cart.modes)
    ranking = cart.rank(small_job(), top=1000)
    for suspect in ranking.components:
        for mode in suspect.modes:
            assert series[f"{suspect.id}/{mode.id}"] == pytest.approx(mode.probability, abs=1e-12)


# -- notebooks -------------------------------------------------------------------------------------


class _Cells(HTMLParser):
    """Texts of the cells, row by row; complains about a tag that is not closed in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.rows: list[list[str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open.append(tag)
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "td" in self.open or "th" in self.open:
            self.rows[-1][-1] += data


def _cells(html: str) -> list[list[str]]:
    parser = _Cells()
    parser.feed(html)
    parser.close()
    assert not parser.open
    return parser.rows


def test_a_ranking_shows_as_a_table_in_a_notebook(cart: faultloom.Model) -> None:
    ranking = cart.rank(small_job())
    rows = _cells(ranking._repr_html_())
    assert len(rows) == 1 + len(ranking.components) + 2
    for suspect, row in zip(ranking.components, rows[1:], strict=False):
        assert row[:3] == [suspect.id, suspect.title, suspect.zone or suspect.loom]
        if suspect.probability >= 0.001:
            assert float(row[3].removesuffix(" %")) == pytest.approx(
                100 * suspect.probability, rel=0.005
            )
    assert rows[-2][1] == "Nothing is broken"


def test_names_can_not_break_out_of_the_table() -> None:
    vehicle = small_vehicle()
    title = "<script>alert('1')</script> & \"key\""
    vehicle["parts"]["S1"]["title"] = title
    html = faultloom.Model(vehicle).rank(small_job())._repr_html_()
    assert "<script" not in html
    assert title in {row[1] for row in _cells(html)}
