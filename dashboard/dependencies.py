"""What routes ask for: the store, who is signed in, the site in the address. Access is judged here and nowhere else.

Flow: request -> HERE -> routes.
"""

from typing import Annotated

from fastapi import Depends, Path, Request

from analysis.store import Store
from analysis.store.users import User
from dashboard.errors import Forbidden, NotFound, NotSignedIn
from dashboard.languages import Words, chosen
from dashboard.look import may_see
from dashboard.passwords import fingerprint
from dashboard.settings import Settings
from logger.record.finding import Finding
from logger.record.site_facts import SiteFacts


def open_store(request: Request) -> Store:
    """The store that the app was made with."""
    return request.app.state.store


def settings_of(request: Request) -> Settings:
    """The settings that the app was made with."""
    return request.app.state.settings


def words_of(request: Request) -> Words:
    """The language that was chosen, else the browser's wish."""
    return chosen(request.session.get("language"), request.headers.get("accept-language", ""))


OpenStore = Annotated[Store, Depends(open_store)]
TheSettings = Annotated[Settings, Depends(settings_of)]
TheWords = Annotated[Words, Depends(words_of)]


def maybe_user(request: Request, store: OpenStore) -> User | None:
    """Who is signed in; None where nobody is, the person is gone, or the password was changed since."""
    name = request.session.get("name")
    user = store.user(name) if isinstance(name, str) else None
    if user is None or request.session.get("mark") != fingerprint(user.password_hash):
        return None
    request.state.user = user
    return user


MaybeUser = Annotated[User | None, Depends(maybe_user)]


def signed_in(user: MaybeUser) -> User:
    """Who is signed in. NotSignedIn."""
    if user is None:
        raise NotSignedIn("nobody is signed in", fix="sign in at /sign-in and send the cookie that it sets")
    return user


SignedIn = Annotated[User, Depends(signed_in)]


def this_site(
    site_id: Annotated[str, Path(pattern=r"^[a-z0-9-]{1,48}$", description="the site's id")],
    user: SignedIn,
    store: OpenStore,
) -> SiteFacts:
    """The site in the address.

    Forbidden before NotFound: who may not see a site does not learn whether there is one.
    """
    if not may_see(user, site_id):
        raise Forbidden(f"{user.name} may not see {site_id}", fix="ask whoever runs this server to add the site to you")
    try:
        return store.site_facts(site_id)
    except KeyError as error:
        raise NotFound(f"there is no site {site_id}", fix="/api/sites and /fleet list those there are") from error


ThisSite = Annotated[SiteFacts, Depends(this_site)]


def this_finding(
    finding_id: Annotated[str, Path(max_length=96, description="the finding's id")], site: ThisSite, store: OpenStore
) -> Finding:
    """The finding in the address, of the site in the address. NotFound."""
    for one in store.findings(site.site.id):
        if one.id == finding_id:
            return one
    raise NotFound(f"{site.site.id} has no finding {finding_id}", fix="its page lists those that are open")


ThisFinding = Annotated[Finding, Depends(this_finding)]
