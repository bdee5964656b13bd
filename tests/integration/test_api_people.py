"""People over HTTP, with who may see them."""

from __future__ import annotations

from tests.fakes.api_bench import SECRET_HOLDER, ApiBench


async def test_people_by_page_and_by_serial() -> None:
    """Names need the scope `roster`."""
    bench = ApiBench()
    async with bench.served("roster") as client:
        first = (await client.get("/api/v1/people?limit=1")).json
        assert (first["total"], first["people"][0]["holder"]) == (2, SECRET_HOLDER)
        rest = (await client.get(f"/api/v1/people?limit=1&cursor={first['next']}")).json
        assert ([each["id"] for each in rest["people"]], rest["next"]) == (["0048231911"], None)
        card = (await client.get("/api/v1/people/0048231907")).json
        assert card["transmitters"][0]["standing"] == "no-rights"
        assert (await client.get("/api/v1/people/0000000001")).problem == "not-found"
        assert (await client.get("/api/v1/people?sort=colour")).problem == "query-invalid"
        await client.get("/api/v1/people?q=berth&unnamed=true&standing=pending&sort=heard")
        asked = bench.people.asked[-1]
        assert (asked.text, asked.unnamed, asked.standing, asked.order) == ("berth", True, "pending", "heard")
    async with bench.served("view") as client:
        assert (await client.get("/api/v1/people")).problem == "scope-insufficient"
        assert (await client.get("/api/v1/people/0048231907")).problem == "scope-insufficient"
