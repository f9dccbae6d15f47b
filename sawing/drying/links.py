"""Addresses of drying."""

from django.urls import reverse

from sawing.models import Stack, Study, Yard


def stack_url(stack: Stack) -> str:
    return reverse("sawing:stack", args=[stack.study.trial.code, stack.study.code, stack.code])


def yard_url(study: Study, yard: Yard) -> str:
    return reverse("sawing:yard", args=[study.trial.code, study.code, yard.pk])
