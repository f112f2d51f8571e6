"""What the pages need of the store, fetched in few questions.

Flow: store -> HERE -> views.
Never: wording, judgement.
"""

from functools import lru_cache

from analysis.store import Store
from analysis.store.users import User
from analysis.summary import SiteNow
from dashboard.views.priority import SiteSeen
from logger.record.finding import Finding
from logger.record.site_facts import SiteFacts
from logger.record.site_file import read_site

SITES_REMEMBERED = 5_000


@lru_cache(maxsize=SITES_REMEMBERED)
def facts_of(facts_text: str) -> SiteFacts:
    """The site's facts; its file was judged when it was put into the store."""
    return read_site(facts_text)


def may_see(user: User, site_id: str) -> bool:
    """`sites` None = every site."""
    return user.sites is None or site_id in user.sites


def site_seen(store: Store, facts: SiteFacts) -> SiteSeen:
    """One site with its open findings."""
    site = facts.site.id
    return _seen(facts, store.now(site), store.findings(site, open_only=True))


def sites_seen(store: Store, user: User) -> list[SiteSeen]:
    """Every site that the user may see, in three questions however many there are."""
    now_of, findings_of = store.all_now(), dict[str, list[Finding]]()
    for site_id, finding in store.findings_by_site(open_only=True):
        findings_of.setdefault(site_id, []).append(finding)
    return [
        _seen(facts_of(site.facts_text), now_of.get(site.id), findings_of.get(site.id, []))
        for site in store.sites()
        if may_see(user, site.id)
    ]


def _seen(facts: SiteFacts, now: SiteNow | None, findings: list[Finding]) -> SiteSeen:
    fitted, site = frozenset(facts.sensors.channels), facts.site
    sun = "irradiance_w_m2" in fitted
    return SiteSeen(site.id, site.name, site.timezone, now, facts.pump.kind, tuple(findings), sun, fitted)
