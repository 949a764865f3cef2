"""Joints that come from elsewhere than from panels' lines put into a profile: by hand, from an apron."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from capture.arrays import Array
from capture.camera.view import View
from measure.joints.shared_errors import shared_covs
from measure.profile import Profile


def with_joints(
    profile: Profile,
    at_mm: Mapping[str, Array],
    own: Mapping[str, Mapping[str, Array]],
    view: View,
    standoff_err_mm: float,
) -> Profile:
    """Return the profile with these joints in place of measured ones, or added to them.

    What the photo's view, print scale and standoff leave uncertain is shared with all other joints; what else
    was known of a joint that is replaced gives way to its own uncertainty.

    Parameters
    ----------
    at_mm : joint -> place (2,) in the measured plane.
    own : source -> joint -> covariance (2, 2) of that joint alone, mm^2.
    """
    names = (*profile.joints, *(j for j in at_mm if j not in profile.joints))
    xy = np.array([at_mm[n] if n in at_mm else profile.at(n) for n in names])
    size = 2 * len(names)
    kept = [(i, profile.joints.index(n)) for i, n in enumerate(names) if n not in at_mm]
    rows = np.array([2 * i + c for i, _ in kept for c in (0, 1)], dtype=int)
    old = np.array([2 * k + c for _, k in kept for c in (0, 1)], dtype=int)
    sources: dict[str, Array] = {}
    for source, cov in profile.cov_by_source.items():
        sources[source] = np.zeros((size, size))
        sources[source][np.ix_(rows, rows)] = cov[np.ix_(old, old)]
    sources |= shared_covs(view, xy, profile.standoff_mm, standoff_err_mm)
    for source, by_joint in own.items():
        whole = sources.setdefault(source, np.zeros((size, size)))
        for joint, cov in by_joint.items():
            block = slice(2 * names.index(joint), 2 * names.index(joint) + 2)
            whole[block, block] += cov
    gain = np.zeros((size, profile.near_end_gain.shape[1]))
    if profile.near_end_gain.size:
        gain[rows] = profile.near_end_gain[old]
    return replace(
        profile,
        joints=names,
        xy_mm=xy,
        cov_mm2=np.sum(list(sources.values()), axis=0),
        cov_by_source=sources,
        undetermined={k: v for k, v in profile.undetermined.items() if k not in at_mm},
        near_end_gain=gain,
    )
