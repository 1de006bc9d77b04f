# SPDX-License-Identifier: MIT

# All of tholectl but main(), for the tests too.
noinst_LIBRARIES += %D%/libctl.a
%C%_libctl_a_SOURCES = \
	%D%/batch.c \
	%D%/batch-show.c \
	%D%/body.c %D%/body.h \
	%D%/client.c %D%/client.h \
	%D%/command.c %D%/command.h %D%/verbs.h \
	%D%/complete.c \
	%D%/draw/brush.c %D%/draw/brush.h \
	%D%/draw/draw.c \
	%D%/draw/figure.c %D%/draw/figure.h \
	%D%/draw/labels.c %D%/draw/labels.h \
	%D%/draw/paint.c %D%/draw/paint.h \
	%D%/draw/ramp-figure.c %D%/draw/ramp-figure.h \
	%D%/draw/ramp-paint.c %D%/draw/ramp-paint.h \
	%D%/draw/save.c %D%/draw/save.h \
	%D%/feed.c %D%/feed.h \
	%D%/garden.c \
	%D%/help.c \
	%D%/init.c \
	%D%/print.c %D%/print.h \
	%D%/qr.c %D%/qr.h \
	%D%/read.c %D%/read.h \
	%D%/records.c \
	%D%/season.c \
	%D%/service.c \
	%D%/show.c %D%/show.h \
	%D%/table.c %D%/table.h \
	%D%/today.c \
	%D%/visits.c \
	%D%/what-if.c \
	%D%/why.c
%C%_libctl_a_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_libctl_a_CFLAGS = $(AM_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS) $(DRAW_CFLAGS) $(QR_CFLAGS)

bin_PROGRAMS += %D%/tholectl
%C%_tholectl_SOURCES = %D%/main.c
%C%_tholectl_CPPFLAGS = $(AM_CPPFLAGS) -I$(top_srcdir)
%C%_tholectl_LDADD = %D%/libctl.a daemon/control/libwire.a daemon/base/libbase.a \
	$(DRAW_LIBS) $(QR_LIBS) $(SOUP_LIBS) $(JSON_LIBS) $(GLIB_LIBS) -lm

# The completions, in the folders where the shells look beneath a prefix. Elsewhere: make install
# bashcompletiondir=FOLDER zshcompletiondir=FOLDER
bashcompletiondir = $(datadir)/bash-completion/completions
dist_bashcompletion_DATA = %D%/completion/tholectl
zshcompletiondir = $(datadir)/zsh/site-functions
dist_zshcompletion_DATA = %D%/completion/_tholectl
