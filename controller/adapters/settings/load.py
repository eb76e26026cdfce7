"""Load settings: everything that is wrong is told at once."""

from collections.abc import Iterable, Mapping
from pathlib import Path

from controller.adapters.settings.api_table import settings_of
from controller.adapters.settings.api_words import api_problems
from controller.adapters.settings.belongings import belonging_problems
from controller.adapters.settings.convert import plan_of
from controller.adapters.settings.document import Tables, tables_of
from controller.adapters.settings.findings import Finding, SettingsError, shown
from controller.adapters.settings.notices import notify_problems
from controller.adapters.settings.source import ENVIRONMENT, variable
from controller.adapters.settings.tables import SECTIONS
from controller.adapters.settings.tabletop import tabletop_of, tabletop_problems
from controller.adapters.settings.values import LogSettings, Settings
from controller.adapters.settings.wires import wiring_of, wiring_problems
from controller.adapters.settings.written import written
from controller.core.plan import Plan
from controller.core.plan_rules import problems


def load(path: Path, environ: Mapping[str, str]) -> Settings:
    """Return the settings of a file, with what the environment says instead.

    Args:
        path: The TOML file.
        environ: Environment variables; BOTTOMHEAT_BENCH__NAME and its like set
            keys of [bench], [broker], [log] and [api].

    Raises:
        SettingsError: Anything is wrong; its text has one line for each thing.
    """
    tables, findings = tables_of(path, environ)
    plan, said = plan_of(tables), written(tables)
    between = [*belonging_problems(tables), *wiring_problems(tables)]
    between += tabletop_problems(tables)
    between += [*notify_problems(tables), *_broken_rules(plan, said)]
    between += api_problems(tables.api.tls_cert, tables.api.tls_key)
    findings += (_traced(finding, tables) for finding in between)
    if findings:
        raise SettingsError(list(dict.fromkeys(findings)))
    return _settings(tables, plan, said)


def _broken_rules(plan: Plan, said: Mapping[str, str]) -> Iterable[Finding]:
    for problem in problems(plan):
        found = said.get(problem.where)
        yield Finding(
            problem.where, shown(found) if found else problem.found, problem.allowed
        )


def _traced(finding: Finding, tables: Tables) -> Finding:
    """Return a finding with its source: the file, or a variable."""
    where, source = finding.where, tables.source
    for section in SECTIONS:
        key = where.removeprefix(f"[{section}] ")
        if key != where and variable(section, key) in tables.environment:
            where, source = variable(section, key), ENVIRONMENT
    return Finding(where, finding.found, finding.allowed, source)


def _settings(tables: Tables, plan: Plan, said: Mapping[str, str]) -> Settings:
    return Settings(
        source=tables.source,
        plan=plan,
        wiring=wiring_of(tables),
        tabletop=tabletop_of(tables),
        timezone=tables.bench.timezone,
        display_unit=tables.bench.display_unit,
        log=LogSettings(
            path=tables.log.path,
            commit_every_ms=tables.log.commit_every.milli,
            fold_after_ms=tables.log.fold_after.milli,
        ),
        api=settings_of(tables.api),
        crops=tables.crops.path,
        written=said,
    )
