"""An owner's register: 2,000 pieces, each with a picture of its own, drawn as a task."""

from __future__ import annotations

import hashlib
import io
import random
import time
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pypdfium2
from django.conf import settings
from django.utils import timezone
from PIL import Image

from tests.bench.build import Built
from tests.bench.clock import Figure, seconds
from tooling.models import Owner, OwnerMarkCheck, Picture, Piece, StoredFile, Task, TaskState
from tooling.queries.owners import owner_page
from tooling.services import files, owner_papers
from tooling.task_kinds import HANDLERS
from tooling.tasks import Run, work_once

PIECES = 2_000
SMALL_PX = (480, 360)
LIMIT_S = 20
SILENCE_S = 0.5
"""A task says how far it is, and stops, within this time."""


def register(built: Built) -> list[Figure]:
    """The whole task as the worker does it: read, shrink pictures, draw, store."""
    owner = _owner_of(min(PIECES, built.pieces))
    task = owner_papers.ask_to_draw(by=built.person, at=timezone.now(), owner=owner, paper="a4")
    heard: list[float] = []
    began = time.process_time()
    took = seconds(lambda: _work(heard))
    busy = time.process_time() - began
    task = Task.objects.select_related("file").get(pk=task.pk)
    assert task.state == TaskState.DONE, task.message
    assert task.file is not None
    document = pypdfium2.PdfDocument(files.read(task.file))
    pages, count = len(document), Piece.objects.filter(owner=owner).count()
    document.close()
    silence = max(later - earlier for earlier, later in pairwise(heard))
    screen = seconds(lambda: owner_page(owner.code, at=timezone.now()))
    return [
        Figure(f"register of {count:,} pieces with pictures, as a task", took, "s", LIMIT_S),
        Figure("register, processor time of it", busy, "s"),
        Figure("register, longest time without a word", silence, "s", SILENCE_S),
        Figure("register, pages", pages, ""),
        Figure("register, size", task.file.size / 1e6, "MB"),
        Figure("the same owner's page on screen", screen * 1000, "ms"),
    ]


def _work(heard: list[float]) -> None:
    """Do the task; note when it was asked how far it is."""

    def watched(run: Run) -> dict[str, object]:
        check = run.check

        def noted() -> None:
            heard.append(time.perf_counter())
            check()

        run.check = noted  # type: ignore[method-assign]
        heard.append(time.perf_counter())
        done = HANDLERS[owner_papers.KIND](run)
        heard.append(time.perf_counter())
        return done

    assert work_once({**HANDLERS, owner_papers.KIND: watched})


def _owner_of(count: int) -> Owner:
    """A customer of so many pieces, each with a photograph, a look for the mark and a value."""
    owner = Owner.objects.create(code="BENCH", name="Bench customer")
    ids = list(Piece.objects.filter(kit_positions=None).values_list("pk", flat=True)[:count])
    Piece.objects.filter(pk__in=ids).update(owner=owner, value_cents=125_000)
    at = timezone.now()
    OwnerMarkCheck.objects.bulk_create(
        OwnerMarkCheck(piece_id=pk, is_there=True, checked_at=at - timedelta(days=1), at=at)
        for pk in ids
    )
    stored = StoredFile.objects.bulk_create(_photographs(len(ids)))
    Picture.objects.bulk_create(
        Picture(file=file, small=file, width=480, height=360, piece_id=pk, at=at)
        for pk, file in zip(ids, stored, strict=True)
    )
    return owner


def _photographs(count: int) -> list[StoredFile]:
    """So many different small JPEGs in the files folder, of the size that uploads are given."""
    folder = Path(settings.FILES_DIR)
    folder.mkdir(parents=True, exist_ok=True)
    dice, at, made = random.Random(5), timezone.now(), []
    rough = Image.effect_noise((160, 120), 70).resize((960, 720), Image.Resampling.BICUBIC)
    for _each in range(count):
        left, top = dice.randrange(480), dice.randrange(360)
        part = rough.crop((left, top, left + SMALL_PX[0], top + SMALL_PX[1])).convert("RGB")
        part.putpixel((0, 0), (dice.randrange(256), dice.randrange(256), dice.randrange(256)))
        out = io.BytesIO()
        part.save(out, "JPEG", quality=80)
        data = out.getvalue() + dice.randbytes(8)
        name = hashlib.sha256(data).hexdigest()
        (folder / name).write_bytes(data)
        made.append(
            StoredFile(sha256=name, content_type="image/jpeg", size=len(data), stored_at=at)
        )
    return made
