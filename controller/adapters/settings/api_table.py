"""The table [api], by itself: of a list of benches, which has one too.

What may live here: from that table to its settings.
"""

from controller.adapters.settings.api_words import api_problems
from controller.adapters.settings.findings import Finding, SettingsError, finding_of
from controller.adapters.settings.tables import ApiTable, keys_of
from controller.adapters.settings.values import ApiSettings


def api_of(table: object, source: str, port: int) -> ApiSettings:
    """Return the settings of a table [api] outside of a bench's configuration.

    Args:
        table: What stands there.
        source: The file, for people.
        port: TCP port where it names none.

    Raises:
        SettingsError: Anything in it is wrong.
    """
    if not isinstance(table, dict):
        said = "there is one of it; write [api] and its keys below"
        raise SettingsError([Finding("[api]", None, said, source)])
    found = ApiTable.model_validate({"port": port} | table)
    wrong = [finding_of("[api]", one, {"": keys_of(ApiTable)}) for one in found.wrong]
    wrong += api_problems(found.tls_cert, found.tls_key)
    if wrong:
        raise SettingsError(
            [Finding(one.where, one.found, one.allowed, source) for one in wrong]
        )
    return settings_of(found)


def settings_of(table: ApiTable) -> ApiSettings:
    """Return what a checked table says."""
    return ApiSettings(
        host=table.host,
        port=table.port,
        names=table.names,
        proxies=table.proxies,
        tls_cert=table.tls_cert,
        tls_key=table.tls_key,
    )
