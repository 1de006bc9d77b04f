# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libservice.a
%C%_libservice_a_SOURCES = \
	%D%/wording.h \
	%D%/wording-private.h \
	%D%/wording-extras.c \
	%D%/wording-job.c \
	%D%/wording-names.c \
	%D%/wording-outlook.c \
	%D%/wording-reason.c \
	%D%/wording-summary.c \
	%D%/wording-terms.c \
	%D%/wording-visit.c
