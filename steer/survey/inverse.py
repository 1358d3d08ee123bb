"""The part of an inverse that an adjustment needs, without the rest of it.

A network of thousands of points has a sparse normal matrix with a full inverse, of which covariances and
redundancy numbers need only the places where the matrix itself (or its factor) is not zero. Takahashi's
recursion gives exactly these from the factor L·D·L' (Takahashi, Fagan and Chin 1973; Erisman and Tinney,
Communications of the ACM 18(3), 1975; both from memory; tested against the full inverse).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import SuperLU, splu


def factored(normal: sparse.csc_matrix) -> SuperLU:
    """L·U of a symmetric positive definite matrix, ordered for little fill, pivots on the diagonal.

    Raises RuntimeError when a pivot is exactly zero."""
    return splu(normal, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})


def inverse_blocks(
    normal: sparse.csc_matrix, groups: sparse.csr_matrix
) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """The inverse between the unknowns of every group; a group is a row of `groups`, its unknowns the columns
    that the row stores. Every sight must be among the groups, so that they cover all of `normal`.

    Yields (group numbers (g,), unknowns (k,) ascending, inverse between them (k, k)): the unknowns hold those
    of each of the groups. Each group with an unknown comes exactly once."""
    size = normal.shape[0]
    factor = factored(normal)
    order = np.asarray(factor.perm_c)
    if not np.array_equal(order, factor.perm_r):
        raise RuntimeError("the factor left the diagonal")
    unknown_at = np.empty(size, dtype=int)
    unknown_at[order] = np.arange(size)
    lower = factor.L.tocsc()
    lower.sort_indices()
    pivot = factor.U.diagonal()
    marks = sparse.csr_matrix((np.ones(groups.nnz), groups.indices, groups.indptr), shape=groups.shape)
    joined = sparse.csc_matrix(marks.T @ marks)
    served: dict[int, list[int]] = {}  # column of L that is the first of a group's -> the groups
    for group in range(groups.shape[0]):
        members = groups.indices[groups.indptr[group] : groups.indptr[group + 1]]
        if len(members):
            served.setdefault(int(order[members].min()), []).append(group)

    below: list[np.ndarray] = []  # for each column of L the rows under its diagonal, closed under elimination
    children: list[list[int]] = [[] for _ in range(size)]
    for j in range(size):
        column = unknown_at[j]
        rows = order[joined.indices[joined.indptr[column] : joined.indptr[column + 1]]]
        parts = [rows, lower.indices[lower.indptr[j] : lower.indptr[j + 1]], *(below[c] for c in children[j])]
        merged = np.unique(np.concatenate(parts))
        below.append(merged[merged > j])
        if len(below[j]):
            children[below[j][0]].append(j)

    kept: dict[int, tuple[np.ndarray, np.ndarray]] = {}
    for j in range(size - 1, -1, -1):
        rows = below[j]
        block = np.empty((len(rows) + 1, len(rows) + 1))
        if len(rows):
            parent, inverse = kept[rows[0]]
            place = np.searchsorted(parent, rows)
            under = inverse[np.ix_(place, place)]
            stored = slice(lower.indptr[j], lower.indptr[j + 1])
            multiplier = np.zeros(len(rows) + 1)
            at = lower.indices[stored]
            multiplier[np.searchsorted(rows, at[at > j])] = lower.data[stored][at > j]
            multiplier = multiplier[:-1]
            across = -under @ multiplier
            block[0, 0] = 1.0 / pivot[j] - multiplier @ across
            block[0, 1:] = block[1:, 0] = across
            block[1:, 1:] = under
            children[rows[0]].remove(j)
            if not children[rows[0]]:
                del kept[rows[0]]
        else:
            block[0, 0] = 1.0 / pivot[j]
        indices = np.concatenate([[j], rows])
        if children[j]:
            kept[j] = indices, block
        if j in served:
            unknowns = unknown_at[indices]
            ascending = np.argsort(unknowns)
            yield np.array(served[j]), unknowns[ascending], block[np.ix_(ascending, ascending)]
