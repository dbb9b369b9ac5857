"""Puts the monitor together from the command line's options and the settings file."""

from dataclasses import dataclass
from pathlib import Path

from shopmon.capture.factory import open_source
from shopmon.capture.simulated import demo_setup
from shopmon.capture.source import Source
from shopmon.errors import SettingError
from shopmon.listening.setup import Setup
from shopmon.records.archive import Archive
from shopmon.service.monitor import Monitor
from shopmon.service.settings import Settings, SourceSettings, default_data_dir, load_settings
from shopmon.signals.block import sound_columns


@dataclass(frozen=True, kw_only=True)
class Options:
    """What was said on the command line; None where nothing was."""

    source: str = "mic"
    others: tuple[str, ...] = ()
    device: str | None = None
    rpm: float | None = None
    flutes: int | None = None
    data_dir: Path | None = None
    settings_file: Path | None = None


@dataclass(frozen=True, kw_only=True)
class Running:
    """A started monitor with what it was made of."""

    monitor: Monitor
    source: Source
    settings: Settings
    data_dir: Path

    @classmethod
    def start(cls, options: Options) -> "Running":
        """Open source and archive and begin to listen.

        Raises
        ------
        SettingError, RecordingError, StoreError
            Something said or set cannot be used. A missing device is no error: it is waited for.
        """
        settings = load_settings(options.settings_file)
        setup = _setup(options)
        source = make_sources(options, settings)
        data_dir = _data_dir(options, settings)
        archive = Archive.open(
            data_dir,
            budget_bytes=settings.storage.budget_bytes,
            buffer_s=settings.storage.buffer_minutes * 60,
            keep_audio=settings.storage.keep_audio,
        )
        monitor = Monitor(source, archive, settings, setup)
        monitor.start()
        return cls(monitor=monitor, source=source, settings=settings, data_dir=data_dir)


def make_sources(options: Options, settings: Settings) -> Source:
    """Make the source that is listened to, with those that run along beside it.

    Raises
    ------
    SettingError
        A name is not known, or two sources would have one name.
    """
    made = [make_source(options.source, options.device, settings)]
    made += [make_source(spec, None, settings) for spec in options.others]
    first = made[0].format
    if first and not sound_columns(first.channels):
        raise SettingError(
            "A tachometer alone cannot be listened to.", "Name a microphone or an accelerometer before it."
        )
    if len(made) == 1:
        return made[0]
    if len({source.source_id for source in made}) < len(made):
        raise SettingError(
            "Two of the sources have the same name.",
            "Name each in the settings, [sources.NAME], and give the names.",
        )
    from shopmon.capture.aligner import AlignedSource

    return AlignedSource(made)


def make_source(spec: str, device: str | None, settings: Settings) -> Source:
    """Make the source that `spec` names: mic, demo, a path, or a name from the settings.

    Raises
    ------
    SettingError
        The name is not known.
    """
    named = settings.sources.get(spec)
    if named is None:
        return open_source(spec, device=device)
    if named.kind == "tach":
        return _tachometer(named, spec)
    return open_source(
        _spec_of(named, spec),
        device=device or named.device,
        sample_rate_hz=named.sample_rate_hz,
        channels=named.channels,
        sensor=named.sensor,
        source_id=spec,
    )


def _tachometer(named: SourceSettings, name: str) -> Source:
    from shopmon.capture.tach_line import TachLineSource

    if named.gpio_pin is None:
        raise SettingError(
            f"The tachometer '{name}' has no line.",
            f"Add gpio_pin = 27, or the one it is on, to [sources.{name}].",
        )
    return TachLineSource(named.gpio_pin, source_id=name)


def _spec_of(named: SourceSettings, name: str) -> str:
    if named.kind != "recording":
        return named.kind
    if not named.path:
        raise SettingError(
            f"The source '{name}' is a recording without a path.", f'Add path = "…" to [sources.{name}].'
        )
    return str(Path(named.path).expanduser().absolute())


def _setup(options: Options) -> Setup:
    if options.source == "demo" and options.rpm is None and options.flutes is None:
        return Setup(**demo_setup())
    try:
        return Setup(nominal_rpm=options.rpm, flutes=options.flutes)
    except ValueError as exc:
        raise SettingError(f"{str(exc)[0].upper()}{str(exc)[1:]}.", "Check --rpm and --flutes.") from None


def _data_dir(options: Options, settings: Settings) -> Path:
    """Where to keep things; invented cuts are kept apart from real ones unless a folder is named."""
    if options.data_dir:
        return options.data_dir
    usual = Path(settings.storage.data_dir or default_data_dir()).expanduser()
    return usual.with_name(usual.name + "-demo") if options.source == "demo" else usual
